//! One machine from job to job: how it came and how it was left, and whether it
//! stayed right in between.

use std::fmt::Write as _;

use jiff::tz::TimeZone;

use super::comparison::{
    changes, is_one_reference, speed_moved, tolerance, verdict, verdict_within,
};
use super::listing::day;
use super::numbers::plain;
use super::pictures::{Picture, Side, TrendPoint, trend};
use super::words::{NONE, band, cell, deviation, padded, with_uncertainty, wrapped};
use crate::readings::Verdict;
use crate::records::{About, BeforeAfter, Job, Run, Snapshot, pairs};
use crate::references::{Tolerance, same_machine};

/// What was kept of a machine at one of its speeds and directions.
#[derive(Debug)]
pub struct History<'a> {
    /// As it was typed; `None` where no job says one, or only others do.
    serial: Option<&'a str>,
    run: Option<Run>,
    simulated: bool,
    /// Oldest first.
    visits: Vec<Visit<'a>>,
}

/// What a job kept of it.
#[derive(Clone, Copy, Debug)]
struct Visit<'a> {
    job: &'a str,
    kept: BeforeAfter<'a>,
}

impl<'a> Visit<'a> {
    fn came(self) -> Option<&'a Snapshot> {
        self.kept.each().next()
    }

    fn left(self) -> Option<&'a Snapshot> {
        self.kept.each().last()
    }
}

/// The history of a machine, one for each of its speeds and directions. Machines
/// of one name are told from each other by their serial numbers; where only one
/// was ever said, a job that says none is of that one.
pub fn of_machine<'a>(jobs: impl IntoIterator<Item = &'a Job>, machine: &str) -> Vec<History<'a>> {
    let mut found: Vec<(Option<&'a str>, Visit<'a>, &'a Snapshot)> = Vec::new();
    for job in jobs {
        let serial = job.said(About::Serial).map(str::trim);
        let serial = serial.filter(|it| !it.is_empty());
        for kept in pairs(&job.snapshots) {
            let first = kept.each().next();
            let is_its = |it: &&Snapshot| {
                same_machine(it.machine.as_deref().or(job.machine()), Some(machine))
            };
            let job = &job.name;
            found.extend(
                first
                    .filter(is_its)
                    .map(|it| (serial, Visit { job, kept }, it)),
            );
        }
    }
    let mut serials = found.iter().filter_map(|it| it.0);
    let one = serials.next();
    let only = one.filter(|one| serials.all(|it| it == *one));
    let mut all: Vec<History<'a>> = Vec::new();
    for (serial, visit, first) in found {
        let (serial, run, simulated) = (serial.or(only), first.run, first.simulated);
        let is_its = |it: &&mut History<'_>| {
            it.serial == serial && it.run == run && it.simulated == simulated
        };
        match all.iter_mut().find(is_its) {
            Some(history) => history.visits.push(visit),
            None => all.push(History {
                serial,
                run,
                simulated,
                visits: vec![visit],
            }),
        }
    }
    for history in &mut all {
        let begun = |visit: &Visit<'_>| visit.came().map(|it| it.taken_at);
        history.visits.sort_by_key(begun);
    }
    all
}

impl History<'_> {
    /// Each figure with its ± and what it says in the band in force now, then
    /// what became of the machine from each job to the next. Days are shown in
    /// `zone`.
    pub fn text(&self, machine: &str, zone: &TimeZone) -> String {
        // Writing to a string cannot fail.
        let mut text = String::new();
        let run = self.run.map(|it| format!(", {it}")).unwrap_or_default();
        let serial = self
            .serial
            .map(|it| format!(", serial number {}", plain(it)));
        let serial = serial.unwrap_or_default();
        text += &wrapped("", &format!("{}{serial}{run}", plain(machine)));
        if self.simulated {
            text.push_str("SIMULATED: these figures are invented.\n");
        }
        let _ = writeln!(
            text,
            "  {:<10}  {:<7}  {:<16} {:<15} in a band of {}",
            "day",
            "kept as",
            "speed %",
            "w.flutter %",
            band(self.in_force())
        );
        for visit in &self.visits {
            text += &wrapped("  ", &format!("\"{}\"", plain(visit.job)));
            for snapshot in visit.kept.each() {
                text += &self.row(snapshot, zone);
            }
        }
        for two in self.visits.windows(2) {
            text += &self.between(two[0], two[1], zone);
        }
        text
    }

    /// What became of it between two visits. What was kept in front of the work
    /// of the first or after that of the second says nothing of it.
    fn between(&self, first: Visit<'_>, second: Visit<'_>, zone: &TimeZone) -> String {
        let (Some(last), Some(next)) = (first.left(), second.came()) else {
            return String::new();
        };
        let days = [last, next].map(|it| day(it.taken_at, zone));
        let (said, changed) = match (first.kept.after, second.kept.before) {
            (Some(left), Some(came)) => {
                let said = stayed(left, came, self.in_force(), zone);
                (said, changes(left, came))
            }
            (None, _) => (NOTHING_AT_THE_END.to_owned(), Vec::new()),
            (_, None) => (NOTHING_IN_FRONT.to_owned(), Vec::new()),
        };
        let said = format!("From {} to {}: {said}", days[0], days[1]);
        let changed = changed.iter().map(|it| wrapped("  ", it));
        format!("\n{}{}", wrapped("", &said), changed.collect::<String>())
    }

    fn row(&self, snapshot: &Snapshot, zone: &TimeZone) -> String {
        let measurement = &snapshot.measurement;
        let flutter = &measurement.flutter;
        let speed = measurement.speed.as_ref();
        format!(
            "  {:<10}  {:<7}  {} {} {}\n",
            day(snapshot.taken_at, zone),
            snapshot.label.to_string(),
            padded(&speed.map_or(NONE.to_owned(), deviation), 16),
            padded(
                &cell(
                    flutter.weighted_two_sigma,
                    flutter.weighted_two_sigma_uncertainty
                ),
                15
            ),
            verdict_within(snapshot, self.in_force()).words()
        )
    }

    /// Invented, not measured.
    pub fn is_simulated(&self) -> bool {
        self.simulated
    }

    fn newest(&self) -> Option<&Snapshot> {
        self.visits.last().and_then(|it| it.left())
    }

    /// The band of what was kept last.
    fn in_force(&self) -> Tolerance {
        self.newest().map(tolerance).unwrap_or_default()
    }

    /// The speed of the machine from job to job, as far as it says whether that
    /// was right; `None` without any.
    pub fn picture(&self, machine: &str, zone: &TimeZone) -> Option<Picture> {
        let of = |side, it: &Snapshot| {
            let speed = it.measurement.speed?;
            let is_judged = !matches!(verdict(it), Verdict::MadeHere | Verdict::WhichTone);
            if !is_judged {
                return None;
            }
            Some(TrendPoint {
                at: it.taken_at,
                side,
                percent: speed.deviation.0,
                uncertainty: speed.stated_uncertainty().map(|it| it.0),
            })
        };
        let kept = self.visits.iter().map(|it| it.kept);
        let points = kept.flat_map(|it| {
            let before = it.before.and_then(|it| of(Side::Before, it));
            [before, it.after.and_then(|it| of(Side::After, it))]
        });
        let points: Vec<TrendPoint> = points.flatten().collect();
        let run = self.run.map(|it| format!(", {it}")).unwrap_or_default();
        let machine = plain(machine);
        let title = format!("{machine}{run}: speed from job to job, percent from right");
        trend("trend", &title, &points, self.in_force().half_width.0, zone)
    }
}

const NOTHING_AT_THE_END: &str =
    "not to be told, for nothing was kept at the end of the work on the first day.";
const NOTHING_IN_FRONT: &str =
    "not to be told, for nothing was kept in front of the work on the second day.";

/// Whether the speed stayed what it was at the end of the work, in a band of
/// this half width.
fn stayed(left: &Snapshot, came: &Snapshot, in_force: Tolerance, zone: &TimeZone) -> String {
    for it in [left, came] {
        let verdict = verdict_within(it, in_force);
        if !verdict.is_judged() {
            let day = day(it.taken_at, zone);
            return format!("not to be told, for {day} says {}.", verdict.words());
        }
    }
    let Some((change, known)) = speed_moved(left, came) else {
        return "not to be told, for one of the two has no speed.".to_owned();
    };
    let moved = with_uncertainty(change, known, true);
    let Some(known) = known else {
        return format!("moved by {moved} %, its ± not known: not to be told whether it STAYED.");
    };
    let proviso = match is_one_reference(left, came) {
        None => ", if it was the same tape",
        Some(_) => "",
    };
    if change.abs() > known {
        format!("MOVED by {moved} %, more than both ± together{proviso}.")
    } else if change.abs() + known > in_force.half_width.0 {
        format!("no change that could be told: {moved} % is known too poorly for this band.")
    } else {
        format!("STAYED, {moved} % being within both ± together{proviso}.")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::{Entry, JobFile, Label};
    use crate::report::sample;
    use crate::report::words::{COLUMNS, width};
    use crate::units::Percent;

    /// A machine a year apart: came, was left, came again.
    fn jobs(came_again: f64) -> [Job; 2] {
        let kept = |label, at: &str, deviation| {
            let mut snapshot = Snapshot::new(label, "line in", sample::measurement());
            snapshot.taken_at = at.parse().expect("a time");
            snapshot.machine = Some("deck 4".to_owned());
            let speed = snapshot.measurement.speed.as_mut().expect("a speed");
            speed.deviation = Percent(deviation);
            speed.uncertainty = Some(Percent(0.012));
            snapshot
        };
        let job = |name: &str, snapshots| {
            let mut job = Job::default();
            job.name = name.to_owned();
            job.snapshots = snapshots;
            job
        };
        let before = kept(Label::Before, "2025-03-01T11:05:00Z", -1.2);
        let after = kept(Label::After, "2025-03-01T12:05:00Z", 0.02);
        let again = kept(Label::Before, "2026-03-02T11:05:00Z", came_again);
        [
            job("first", vec![before, after]),
            job("second", vec![again]),
        ]
    }

    fn said(came_again: f64) -> String {
        // Listed in any order.
        let [first, second] = jobs(came_again);
        let all = of_machine([&second, &first], "Deck-4");
        assert_eq!(all.len(), 1);
        assert!(all[0].picture("deck 4", &TimeZone::UTC).is_some());
        all[0].text("deck 4", &TimeZone::UTC)
    }

    /// 0.012 in quadrature twice are 0.017.
    #[test]
    fn what_moved_less_than_both_uncertainties_has_stayed() {
        let text = said(0.03);
        assert!(
            text.contains("From 2025-03-01 to 2026-03-02: STAYED, +0.010 ±0.017 %"),
            "{text}"
        );
        let text = said(-0.6);
        assert!(text.contains("MOVED by -0.620 ±0.017 %"), "{text}");
        assert!(
            text.contains("RIGHT BY THIS TAPE → OUT BY THIS TAPE"),
            "{text}"
        );
        let order = ["\"first\"", "before", "after", "\"second\"", "From"];
        let places: Vec<_> = order.iter().map(|it| text.find(it)).collect();
        assert!(places.is_sorted() && places[0].is_some(), "{text}");
        assert!(text.lines().all(|line| width(line) <= COLUMNS), "{text}");
    }

    fn told(jobs: &[Job; 2]) -> String {
        let all = of_machine(jobs, "deck 4");
        let text = all[0].text("deck 4", &TimeZone::UTC);
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    /// What the work did is no drift of the machine.
    #[test]
    fn only_what_was_kept_around_the_years_between_is_judged() {
        let [first, second] = jobs(-1.2);
        let mut open = first.clone();
        open.snapshots.pop();
        let text = told(&[open, second.clone()]);
        assert!(
            text.contains("not to be told, for nothing was kept at the end"),
            "{text}"
        );
        let mut late = second;
        late.snapshots[0].label = Label::After;
        let text = told(&[first, late]);
        assert!(
            text.contains("not to be told, for nothing was kept in front"),
            "{text}"
        );
        for word in ["STAYED", "MOVED", "→", "went from"] {
            assert!(!text.contains(word), "{word}: {text}");
        }
    }

    #[test]
    fn what_says_nothing_of_the_machine_never_says_that_it_stayed() {
        type Change = fn(&mut Snapshot);
        let make: [(Change, &str); 3] = [
            (
                |it| it.measurement.tell_recorded_here(),
                "RECORDED ON THIS MACHINE",
            ),
            (
                |it| {
                    let code = crate::readings::CautionCode::ReferenceAmbiguous;
                    let caution = crate::readings::Caution::told(code, "");
                    it.measurement.cautions.push(caution);
                },
                "WHICH TONE?",
            ),
            (|it| it.measurement.speed = None, "NO READING"),
        ];
        for (make, words) in make {
            for came_again in [0.03, -0.6] {
                let mut both = jobs(came_again);
                make(&mut both[0].snapshots[1]);
                make(&mut both[1].snapshots[0]);
                let text = told(&both);
                let said = format!("not to be told, for 2025-03-01 says {words}");
                assert!(text.contains(&said), "{said}: {text}");
                assert!(
                    !text.contains("STAYED") && !text.contains("MOVED"),
                    "{text}"
                );
            }
        }
    }

    #[test]
    fn a_tape_that_nobody_named_may_be_another() {
        let mut both = jobs(-0.6);
        let proviso = "if it was the same tape";
        assert!(told(&both).contains(proviso));
        both[0].snapshots[1].tape = Some("bench".to_owned());
        assert!(told(&both).contains(proviso));
        both[1].snapshots[0].tape = Some("bench".to_owned());
        let text = told(&both);
        assert!(
            text.contains("MOVED by -0.620 ±0.017 %, more than both"),
            "{text}"
        );
        assert!(!text.contains(proviso), "{text}");
    }

    #[test]
    fn what_is_known_too_poorly_for_the_band_has_not_stayed() {
        let mut both = jobs(0.03);
        for it in both.iter_mut().flat_map(|job| &mut job.snapshots) {
            it.tolerance = Some(Percent(0.5));
            let speed = it.measurement.speed.as_mut().expect("a speed");
            speed.uncertainty = Some(Percent(3.0));
        }
        let text = told(&both);
        assert!(
            text.contains("no change that could be told: 0.0 ±4.3 %"),
            "{text}"
        );
        assert!(!text.contains("STAYED"), "{text}");
    }

    /// Two customers' machines of one name are not one machine.
    #[test]
    fn serial_numbers_tell_machines_of_one_name_apart() {
        let folder = tempfile::tempdir().expect("a folder");
        let with_serial = |job: &Job, serial: Option<&str>| {
            let (mut file, _) = JobFile::open(folder.path().join("job.jsonl")).expect("free");
            for snapshot in &job.snapshots {
                let entry = Entry::Snapshot(Box::new(snapshot.clone()));
                file.add(entry).expect("room");
            }
            if let Some(serial) = serial {
                file.say(About::Serial, serial).expect("room");
            }
            std::fs::remove_file(file.path()).expect("there");
            file.job().clone()
        };
        let jobs = jobs(-0.6);
        let of_serials = |one, other| {
            let both = [with_serial(&jobs[0], one), with_serial(&jobs[1], other)];
            let all = of_machine(&both, "deck 4");
            let texts = all.iter().map(|it| it.text("deck 4", &TimeZone::UTC));
            texts.collect::<Vec<String>>()
        };
        let apart = of_serials(Some("0041"), Some("0042"));
        assert_eq!(apart.len(), 2);
        assert!(
            apart[0].starts_with("deck 4, serial number 0041\n"),
            "{}",
            apart[0]
        );
        assert!(!apart.join("").contains("MOVED"), "{apart:?}");
        for (one, other) in [
            (Some("0041"), Some("0041 ")),
            (Some("0041"), None),
            (None, Some("0041")),
        ] {
            let text = of_serials(one, other);
            assert_eq!(text.len(), 1);
            assert!(text[0].contains("serial number 0041\n"), "{}", text[0]);
            assert!(text[0].contains("MOVED"), "{}", text[0]);
        }
        assert_eq!(of_serials(None, None).len(), 1);
    }

    #[test]
    fn every_visit_of_one_job_is_a_visit() {
        let [mut first, second] = jobs(-0.6);
        first.snapshots.extend(second.snapshots);
        let all = of_machine([&first], "deck 4");
        let text = all[0].text("deck 4", &TimeZone::UTC);
        assert!(
            text.contains("From 2025-03-01 to 2026-03-02: MOVED"),
            "{text}"
        );
    }

    #[test]
    fn the_picture_says_which_machine_and_run_and_holds_what_may_be_judged() {
        let [first, mut second] = jobs(0.03);
        let picture = |second: &Job| {
            let all = of_machine([&first, second], "deck 4");
            let picture = all[0].picture("deck 4", &TimeZone::UTC).expect("points");
            (picture.title, picture.says.matches(';').count())
        };
        let title = "deck 4: speed from job to job, percent from right".to_owned();
        assert_eq!(picture(&second), (title.clone(), 2));
        second.snapshots[0].measurement.tell_recorded_here();
        assert_eq!(picture(&second), (title, 1));
    }

    #[test]
    fn another_reference_brings_its_own_error() {
        let [mut first, mut second] = jobs(0.03);
        first.snapshots[1].tape = Some("one".to_owned());
        second.snapshots[0].tape = Some("another".to_owned());
        let all = of_machine([&first, &second], "deck 4");
        let text = all[0].text("deck 4", &TimeZone::UTC);
        assert!(text.contains("its ± not known"), "{text}");
        assert!(of_machine([&first, &second], "deck 5").is_empty());
    }
}

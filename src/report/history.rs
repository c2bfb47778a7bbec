//! One machine from job to job: how it came and how it was left, and whether it
//! stayed right in between.

use std::fmt::Write as _;

use jiff::tz::TimeZone;

use super::comparison::{changes, combined, reference, tolerance, verdict, verdict_within};
use super::listing::day;
use super::numbers::plain;
use super::pictures::{Picture, Side, TrendPoint, trend};
use super::words::{NONE, band, cell, deviation, padded, with_uncertainty, wrapped};
use crate::readings::Verdict;
use crate::records::{BeforeAfter, Job, Run, Snapshot, pairs};
use crate::references::same_machine;

/// What was kept of a machine at one of its speeds and directions.
#[derive(Debug)]
pub struct History<'a> {
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

/// The history of a machine, one for each of its speeds and directions.
pub fn of_machine<'a>(jobs: impl IntoIterator<Item = &'a Job>, machine: &str) -> Vec<History<'a>> {
    let mut all: Vec<History<'a>> = Vec::new();
    for job in jobs {
        for kept in pairs(&job.snapshots) {
            let Some(first) = kept.each().next() else {
                continue;
            };
            let named = first.machine.as_deref().or(job.machine());
            if !same_machine(named, Some(machine)) {
                continue;
            }
            let (run, simulated) = (first.run, first.simulated);
            let visit = Visit {
                job: &job.name,
                kept,
            };
            let is_its = |it: &&mut History<'_>| it.run == run && it.simulated == simulated;
            match all.iter_mut().find(is_its) {
                Some(history) => history.visits.push(visit),
                None => all.push(History {
                    run,
                    simulated,
                    visits: vec![visit],
                }),
            }
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
        text += &wrapped("", &format!("{}{run}", plain(machine)));
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
            self.band()
        );
        for visit in &self.visits {
            text += &wrapped("  ", &format!("\"{}\"", plain(visit.job)));
            for snapshot in visit.kept.each() {
                text += &self.row(snapshot, zone);
            }
        }
        for two in self.visits.windows(2) {
            if let (Some(was), Some(is)) = (two[0].left(), two[1].came()) {
                let days = [was, is].map(|it| day(it.taken_at, zone));
                let said = format!("From {} to {}: {}", days[0], days[1], stayed(was, is));
                let _ = write!(text, "\n{}", wrapped("", &said));
                for sentence in changes(was, is) {
                    text += &wrapped("  ", &sentence);
                }
            }
        }
        text
    }

    fn row(&self, snapshot: &Snapshot, zone: &TimeZone) -> String {
        let measurement = &snapshot.measurement;
        let flutter = &measurement.flutter;
        let speed = measurement.speed.as_ref();
        let in_force = self.newest().map(tolerance).unwrap_or_default();
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
            verdict_within(snapshot, in_force).words()
        )
    }

    /// Invented, not measured.
    pub fn is_simulated(&self) -> bool {
        self.simulated
    }

    fn newest(&self) -> Option<&Snapshot> {
        self.visits.last().and_then(|it| it.left())
    }

    fn band(&self) -> String {
        band(self.newest().map(tolerance).unwrap_or_default())
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
        let half_width = self.newest().map(tolerance).unwrap_or_default().half_width;
        let run = self.run.map(|it| format!(", {it}")).unwrap_or_default();
        let machine = plain(machine);
        let title = format!("{machine}{run}: speed from job to job, percent from right");
        trend("trend", &title, &points, half_width.0, zone)
    }
}

/// Whether the speed moved by more than both ± together.
fn stayed(was: &Snapshot, is: &Snapshot) -> String {
    let [before, after] = [was, is].map(|it| it.measurement.speed);
    let (Some(before), Some(after)) = (before, after) else {
        return "not to be told, for one of the two has no speed.".to_owned();
    };
    let change = after.deviation.0 - before.deviation.0;
    // What is wrong with one reference is the same in both, and falls out.
    let is_one = reference(&was.measurement) == reference(&is.measurement)
        && was.measurement.conditions.reference == is.measurement.conditions.reference
        && was.tape == is.tape;
    let known = if is_one {
        combined(before.uncertainty, after.uncertainty)
    } else {
        combined(
            before.uncertainty_with_reference,
            after.uncertainty_with_reference,
        )
    };
    let moved = with_uncertainty(change, known, true);
    match known {
        None => format!("moved by {moved} %, its ± not known: not to be told whether it STAYED."),
        Some(known) if change.abs() <= known => {
            format!("STAYED, {moved} % being within both ± together.")
        }
        Some(_) => format!("MOVED by {moved} %, more than both ± together."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::Label;
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
        let [first, mut second] = jobs(0.03);
        second.snapshots[0].tape = Some("another".to_owned());
        let all = of_machine([&first, &second], "deck 4");
        let text = all[0].text("deck 4", &TimeZone::UTC);
        assert!(text.contains("its ± not known"), "{text}");
        assert!(of_machine([&first, &second], "deck 5").is_empty());
    }
}

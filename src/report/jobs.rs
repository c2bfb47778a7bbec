//! Jobs in words: the list, what was found, and all that is in one. Fits 80
//! columns.

use std::fmt::Write as _;

use jiff::tz::TimeZone;

use super::comparison::{changes, verdicts};
use super::listing::{self, day, moment};
use super::numbers::plain;
use super::sweep::headline;
use super::words::{NONE, counted, cut, padded, wrapped};
use crate::records::{About, BeforeAfter, Job, Snapshot, pairs};

/// Width of the column of machines.
const MACHINE: usize = 14;
/// Under the machine, not under the day.
const INDENT: &str = "            ";
/// Of what is shown of one job.
const HEAD: usize = 16;

/// The list: day, machine and verdict, and below them what a job is called and
/// what is in it. Days are shown in `zone`.
pub fn list<'a>(jobs: impl IntoIterator<Item = &'a Job>, zone: &TimeZone) -> String {
    let machine = padded("machine", MACHINE);
    let head = format!("{:<10}  {machine}  verdict\n", "day");
    let rows = jobs.into_iter().map(|job| row(job, zone));
    head + &rows.collect::<String>()
}

/// One job of the list.
pub fn row(job: &Job, zone: &TimeZone) -> String {
    let day = job.opened_at.or(job.last_at);
    let day = day.map_or(NONE.to_owned(), |at| listing::day(at, zone));
    let machine = job.machine().map_or(NONE.to_owned(), plain);
    let machine = padded(&cut(&machine, MACHINE), MACHINE);
    let mut said = all_verdicts(job, zone).into_iter();
    let first = said.next().unwrap_or(NONE.to_owned());
    let mut text = wrapped(&format!("{day:<10}  {machine}  "), &first);
    let under = " ".repeat(INDENT.len() + MACHINE + 2);
    for verdict in said {
        text += &wrapped(&under, &verdict);
    }
    let called = format!("\"{}\": {}", plain(&job.name), contents(job));
    text + &wrapped(INDENT, &called)
}

/// Of each visit, with its speed and direction where there are several.
fn all_verdicts(job: &Job, zone: &TimeZone) -> Vec<String> {
    let all = pairs(&job.snapshots);
    let named = |pair: &BeforeAfter<'_>| {
        let run = pair.each().next().and_then(|it| it.run);
        let run = run.filter(|_| all.len() > 1).map(|it| it.to_string());
        let said = when_of_several(*pair, &all, zone).into_iter().chain(run);
        let said = said.chain([verdicts(*pair)]);
        said.collect::<Vec<String>>().join(": ")
    };
    all.iter().map(named).collect()
}

/// When a visit was begun, where the job holds several of that machine, speed
/// and direction.
fn when_of_several(
    visit: BeforeAfter<'_>,
    all: &[BeforeAfter<'_>],
    zone: &TimeZone,
) -> Option<String> {
    let alike = all.iter().filter(|it| it.is_alike(visit)).count();
    let first = visit.each().next().filter(|_| alike > 1)?;
    Some(moment(first.taken_at, zone))
}

fn contents(job: &Job) -> String {
    let count = |of: usize, one, many| (of > 0).then(|| counted(of as u64, one, many));
    let said = [
        count(job.snapshots.len(), "snapshot", "snapshots"),
        count(
            job.wipers.len(),
            "check of the wiper",
            "checks of the wiper",
        ),
        count(job.notes.len(), "note", "notes"),
        count(job.corrections.len(), "correction", "corrections"),
    ];
    let said: Vec<String> = said.into_iter().flatten().collect();
    let said = if said.is_empty() {
        "nothing kept yet".to_owned()
    } else {
        said.join(", ")
    };
    let simulated = if job.simulated { "SIMULATED, " } else { "" };
    format!("{simulated}{said}")
}

/// Where a text stands in a job, whatever its capitals: what it is, and the text
/// that has it.
pub fn matches(job: &Job, wanted: &str) -> Vec<String> {
    let wanted = wanted.to_lowercase();
    texts(job)
        .into_iter()
        .filter(|(_, text)| text.to_lowercase().contains(&wanted))
        .map(|(what, text)| format!("{what}: {}", plain(text)))
        .collect()
}

/// Everything in a job that somebody has typed.
fn texts(job: &Job) -> Vec<(String, &str)> {
    let mut all = vec![("name".to_owned(), &*job.name)];
    let about = About::ALL.iter();
    all.extend(about.filter_map(|it| Some((it.name().to_owned(), job.said(*it)?))));
    for (number, note) in (1..).zip(&job.notes) {
        all.push((format!("note {number}"), &note.text));
    }
    for (number, snapshot) in (1..).zip(&job.snapshots) {
        let label = match &snapshot.label {
            crate::records::Label::Named(name) => Some(&**name),
            _ => None,
        };
        let said = [
            label,
            snapshot.machine.as_deref(),
            snapshot.note.as_deref(),
            snapshot.tape.as_deref(),
            Some(&*snapshot.source),
        ];
        let of = |text| (format!("snapshot {number}"), text);
        all.extend(said.into_iter().flatten().map(of));
    }
    let was = job.corrections.iter();
    all.extend(was.map(|it| (format!("{}, before it was corrected", it.what), &*it.was)));
    all
}

/// All that is in a job, and where its file lies.
pub fn show(job: &Job, path: &str, zone: &TimeZone) -> String {
    let mut text = wrapped("", &plain(&job.name));
    let mut line = |what: &str, said: &str| {
        let head = format!("  {}", padded(what, HEAD - 2));
        text.push_str(&wrapped(&head, said));
    };
    if job.simulated {
        line("SIMULATED", "all figures of it are invented");
    }
    for about in About::ALL {
        if let Some(said) = job.said(about) {
            line(about.name(), &plain(said));
        }
    }
    if let Some(at) = job.opened_at {
        line("begun", &moment(at, zone));
    }
    if let Some(at) = job.last_at {
        line("last written", &moment(at, zone));
    }
    line("by version", &plain(&job.programs.join(", ")));
    line("file", &plain(path));
    if !job.snapshots.is_empty() {
        let numbered: Vec<(usize, &Snapshot)> = (1..).zip(&job.snapshots).collect();
        let _ = write!(text, "\n{}", listing::table(&numbered, zone));
    }
    let of = |at, number: usize, said: &str| {
        let head = format!("{number:>4}  {}  ", moment(at, zone));
        wrapped(&head, said)
    };
    section(&mut text, "Wiper", &job.wipers, |number, it| {
        of(it.at, number, &headline(&it.report))
    });
    section(&mut text, "Notes", &job.notes, |number, it| {
        of(it.at, number, &plain(&it.text))
    });
    section(&mut text, "Corrected", &job.corrections, |number, it| {
        let [was, is] = [&it.was, &it.is].map(|it| plain(it));
        of(it.at, number, &format!("{}: \"{was}\" → \"{is}\"", it.what))
    });
    let all = pairs(&job.snapshots);
    for pair in &all {
        if let (Some(before), Some(after)) = (pair.before, pair.after) {
            let when = when_of_several(*pair, &all, zone);
            let head = Some("Before and after".to_owned()).into_iter();
            let said = head.chain(when).chain(after.run.map(|it| it.to_string()));
            let head: Vec<String> = said.collect();
            // Writing to a string cannot fail.
            let _ = writeln!(text, "\n{}", head.join(", "));
            for sentence in changes(before, after) {
                text += &wrapped("  ", &sentence);
            }
        }
    }
    text
}

fn section<T>(text: &mut String, name: &str, of: &[T], line: impl Fn(usize, &T) -> String) {
    if !of.is_empty() {
        let _ = writeln!(text, "\n{name}");
    }
    for (number, it) in (1..).zip(of) {
        *text += &line(number, it);
    }
}

/// How a machine was left at the end of a job, at each of its speeds: what was
/// kept last in its newest visit, else what was kept last of all.
pub fn left_at(job: &Job) -> Vec<&Snapshot> {
    let all = pairs(&job.snapshots);
    let is_newest = |nth: usize| !all[nth + 1..].iter().any(|it| it.is_alike(all[nth]));
    let newest = (0..all.len()).filter(|nth| is_newest(*nth));
    let left: Vec<&Snapshot> = newest.filter_map(|nth| all[nth].each().last()).collect();
    if left.is_empty() {
        job.snapshots.last().into_iter().collect()
    } else {
        left
    }
}

/// What a job is called over a column: its day and its name.
pub fn called(job: &Job, zone: &TimeZone) -> String {
    let name = plain(&job.name);
    match job.opened_at {
        Some(at) if !name.starts_with(&day(at, zone)) => format!("{} {name}", day(at, zone)),
        _ => name,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::{Entry, JobFile};
    use crate::report::comparison::tests::before_and_after;
    use crate::report::words::{COLUMNS, width};

    fn job() -> Job {
        let folder = tempfile::tempdir().expect("a folder");
        let (mut file, _) = JobFile::open(folder.path().join("a.jsonl")).expect("free");
        let (before, after) = before_and_after();
        for entry in [
            Entry::Opened {
                name: "repair 117".to_owned(),
                simulated: false,
            },
            Entry::Note("new bellt".to_owned()),
            Entry::Snapshot(Box::new(before)),
            Entry::Snapshot(Box::new(after)),
            Entry::NoteCorrected {
                number: 1,
                is: "new belt".to_owned(),
                was: "new bellt".to_owned(),
            },
        ] {
            file.add(entry).expect("room");
        }
        file.say(About::Machine, "音響機器の速度計測機")
            .expect("room");
        file.job().clone()
    }

    #[test]
    fn the_list_says_what_a_job_came_to() {
        let job = job();
        let day = day(job.opened_at.expect("begun"), &TimeZone::UTC);
        let expected = format!(
            "day         machine         verdict\n\
             {day}  音響機器の速…   OUT BY THIS TAPE → RIGHT BY THIS TAPE\n            \
             \"repair 117\": 2 snapshots, one note, one correction\n"
        );
        assert_eq!(list([&job], &TimeZone::UTC), expected);
    }

    /// A machine that was right and is not any more is never listed as right.
    #[test]
    fn every_visit_in_one_job_is_told() {
        let mut job = Job::default();
        let (before, after) = before_and_after();
        let mut again = before.clone();
        again.taken_at = "2027-03-01T11:05:00Z".parse().expect("a time");
        job.snapshots = vec![before, after, again];
        let zone = TimeZone::UTC;
        let text = list([&job], &zone).replace(char::is_whitespace, " ");
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for said in [
            "2026-03-01 11:05: OUT BY THIS TAPE → RIGHT BY THIS TAPE",
            "2027-03-01 11:05: before: OUT BY THIS TAPE",
        ] {
            assert!(text.contains(said), "{said}: {text}");
        }
        let text = show(&job, "a.jsonl", &zone);
        assert!(
            text.contains("Before and after, 2026-03-01 11:05\n"),
            "{text}"
        );
        let left: Vec<_> = left_at(&job).iter().map(|it| it.taken_at).collect();
        assert_eq!(left, [job.snapshots[2].taken_at]);
    }

    #[test]
    fn a_text_is_found_wherever_it_was_typed() {
        let job = job();
        assert_eq!(
            matches(&job, "BELL"),
            ["note 1, before it was corrected: new bellt"]
        );
        assert_eq!(
            matches(&job, "deck"),
            ["snapshot 1: deck 4", "snapshot 2: deck 4"]
        );
        assert_eq!(matches(&job, "響"), ["machine: 音響機器の速度計測機"]);
        assert!(matches(&job, "nothing of that").is_empty());
    }

    #[test]
    fn a_job_is_shown_whole_and_fits() {
        let text = show(&job(), "/data/jobs/a.jsonl", &TimeZone::UTC);
        for said in [
            "before",
            "after",
            "new belt",
            "\"new bellt\" → \"new belt\"",
        ] {
            assert!(text.contains(said), "{said}: {text}");
        }
        assert!(text.lines().all(|line| width(line) <= COLUMNS), "{text}");
    }
}

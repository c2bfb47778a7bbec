//! Visits of a machine that are not those shown: told in words.

use super::drawn::sided;
use super::{Sheet, Turn, plainly};
use crate::report::capital;
use crate::report::words::counted;

/// Other visits that are told. A choice.
const MOST_AGAIN: usize = 1;

/// The other visits in words, the newest first.
pub(super) fn told_again(sheet: &Sheet<'_>) -> Vec<[String; 2]> {
    let tell = |turn: &Turn<'_>| {
        let first = turn.pair.each().next()?;
        let shown = sheet.turns.iter().find(|it| it.pair.is_alike(turn.pair));
        let shown = shown.and_then(|it| it.pair.each().next());
        let is_later = shown.is_some_and(|it| it.taken_at < first.taken_at);
        let head = if is_later {
            "Later visit"
        } else {
            "Earlier visit"
        };
        let time = sheet.time(first.taken_at);
        let of_run = turn.name.as_ref().filter(|_| sheet.turns.len() > 1);
        let of_run = of_run.map_or(String::new(), |it| format!(", {it}"));
        let said = sided(turn).map(|(side, it)| {
            let said = plainly::of(it, turn.band()).long;
            format!("{}: {said}.", capital(side.word()))
        });
        let said: Vec<String> = said.collect();
        let said = format!("{time}{of_run}. {}", said.join(" "));
        Some([head.to_owned(), said])
    };
    let mut told: Vec<[String; 2]> = sheet.again.iter().rev().filter_map(tell).collect();
    let more = told.len().saturating_sub(MOST_AGAIN);
    if more > 0 {
        told.truncate(MOST_AGAIN);
        let more = counted(more as u64, "more", "more");
        told.push([
            "Other visits".to_owned(),
            format!("{more} in {}.", sheet.file),
        ]);
    }
    told
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZone;

    use super::*;
    use crate::records::{Job, pairs};
    use crate::report::comparison::tests::before_and_after;

    /// The picture is of the work, and what became of it since is not hidden.
    #[test]
    fn a_machine_that_came_again_is_told_as_it_is_now() {
        let (before, after) = before_and_after();
        let zone = TimeZone::UTC;
        let mut job = Job::default();
        let mut again = before.clone();
        again.taken_at = "2027-03-01T11:05:00Z".parse().expect("a time");
        job.snapshots = vec![before, after, again.clone()];
        let sheet = Sheet::of(&job, "a.jsonl", None, &zone);
        assert_eq!(sheet.turns.len(), 1);
        assert_eq!(sheet.turns[0].pair, pairs(&job.snapshots)[0]);
        assert_eq!(sheet.others, 0);
        let [head, said] = &told_again(&sheet)[0];
        assert_eq!(head, "Later visit");
        let expected = "2027-03-01 11:05. Before: 1.2 % too slow";
        assert!(said.starts_with(expected), "{said}");
        let text = crate::report::sheet::text(&sheet);
        assert!(text.contains("Later visit     2027-03-01 11:05"), "{text}");

        let mut left = job.snapshots[1].clone();
        left.taken_at = "2027-03-01T12:05:00Z".parse().expect("a time");
        job.snapshots.push(left);
        let sheet = Sheet::of(&job, "a.jsonl", None, &zone);
        assert_eq!(sheet.turns[0].pair.before, Some(&again));
        let [head, said] = &told_again(&sheet)[0];
        assert_eq!(head, "Earlier visit");
        assert!(said.starts_with("2026-03-01 11:05. Before: "), "{said}");
        assert!(said.contains(". After: "), "{said}");
    }
}

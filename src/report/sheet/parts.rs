//! What of a job's measurements belongs on its sheet.

use jiff::Timestamp;

use super::drawn::sided;
use super::{LONGEST_NAME, Sheet, Turn, plainly, typed};
use crate::readings::{Along, Place, Position, SweepReport, SweepVerdict};
use crate::records::{BeforeAfter, Label, Snapshot, WiperCheck};
use crate::references::same_machine;
use crate::references::supply::{SAME_SUPPLY, SupplyPoint};
use crate::report::capital;
use crate::report::words::counted;

/// Other visits that are told. A choice.
const MOST_AGAIN: usize = 2;

/// Each with what tells it from the others: speed and direction, and the machine
/// where there are several among all.
pub(super) fn turns<'a>(pairs: &[BeforeAfter<'a>], all: &[BeforeAfter<'a>]) -> Vec<Turn<'a>> {
    let first = |pair: &BeforeAfter<'a>| pair.each().next();
    let machine = |pair: &BeforeAfter<'a>| first(pair).and_then(|it| it.machine.as_deref());
    let of_first = all.first().and_then(machine);
    let are_several = all
        .iter()
        .any(|it| !same_machine(machine(it), of_first) && machine(it) != of_first);
    let name = |pair: &BeforeAfter<'a>| {
        let machine = machine(pair).filter(|_| are_several);
        let machine = machine.map(|it| typed(it, LONGEST_NAME));
        let run = first(pair).and_then(|it| it.run).map(|it| it.to_string());
        let said: Vec<String> = machine.into_iter().chain(run).collect();
        (!said.is_empty()).then(|| said.join(", "))
    };
    let each = pairs.iter();
    each.map(|pair| Turn {
        name: name(pair),
        pair: *pair,
    })
    .collect()
}

/// Of each machine, speed and direction the newest visit that has a before and
/// an after, or the newest where none has; and all the others.
pub(super) fn shown_and_others<'a>(
    visits: &[BeforeAfter<'a>],
) -> (Vec<BeforeAfter<'a>>, Vec<BeforeAfter<'a>>) {
    let rank = |nth: usize| {
        (
            visits[nth].before.is_some() && visits[nth].after.is_some(),
            nth,
        )
    };
    let is_shown = |nth: &usize| {
        let mut alike = (0..visits.len()).filter(|it| visits[*it].is_alike(visits[*nth]));
        alike.all(|it| rank(it) <= rank(*nth))
    };
    let (shown, others): (Vec<usize>, Vec<usize>) = (0..visits.len()).partition(is_shown);
    let those = |all: Vec<usize>| all.into_iter().map(|nth| visits[nth]).collect();
    (those(shown), those(others))
}

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
        let said = sided(turn)
            .map(|(side, it)| format!("{}: {}.", capital(side.word()), plainly::of(it).long));
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

/// The first check that says something and the last; the last of all where none
/// does.
pub(super) fn wipers(checks: &[WiperCheck]) -> Vec<(Timestamp, &SweepReport)> {
    let says = |it: &&WiperCheck| it.report.verdict != SweepVerdict::Unclear;
    let first = checks.iter().find(says);
    let last = checks.iter().rfind(says).or(checks.last());
    let is_other = |it: &&WiperCheck| last.is_some_and(|last| !std::ptr::eq(*it, last));
    let both = first.filter(is_other).into_iter().chain(last);
    both.map(|it| (it.at, &it.report)).collect()
}

/// The newest measurement at each place of the tape, all at one speed and in one
/// direction.
pub(super) fn positioned(snapshots: &[Snapshot]) -> impl Iterator<Item = &Snapshot> {
    let newest = snapshots.iter().rfind(|it| it.position.is_some());
    let is_at = move |it: &Snapshot, position| {
        it.position == Some(position) && newest.is_some_and(|newest| newest.run == it.run)
    };
    let each = Position::ALL.into_iter();
    each.filter_map(move |position| snapshots.iter().rfind(|it| is_at(it, position)))
}

/// Speed along the tape: from places that were measured one by one, else from a
/// long record.
pub(super) fn along<'a>(
    snapshots: &'a [Snapshot],
    turns: &[BeforeAfter<'a>],
) -> Option<(Along, &'a Snapshot)> {
    let place = |wanted| {
        let snapshot = positioned(snapshots).find(|it| it.position == Some(wanted))?;
        Some((Place::of(snapshot.measurement.speed.as_ref()?)?, snapshot))
    };
    if let Some(((start, of), (end, _))) = place(Position::Start).zip(place(Position::End)) {
        let middle = place(Position::Middle).map(|it| it.0);
        return Some((Along::of(start, middle, end), of));
    }
    let kept = turns.iter().flat_map(|it| [it.after, it.before]).flatten();
    let mut long = kept.filter_map(|it| Some((it.measurement.along?, it)));
    long.next()
}

/// The newest run through several voltages: what was kept under names of its
/// own since the work on the trimmer ended, each voltage once.
pub(super) fn supply(snapshots: &[Snapshot]) -> Option<(Vec<SupplyPoint>, &Snapshot)> {
    let mut points: Vec<SupplyPoint> = Vec::new();
    let mut of: Option<&Snapshot> = None;
    for snapshot in snapshots.iter().rev() {
        let is_named = matches!(snapshot.label, Label::Named(_));
        if !is_named && of.is_some() {
            break;
        }
        let Some(point) = point(snapshot).filter(|_| is_named) else {
            continue;
        };
        let newest = *of.get_or_insert(snapshot);
        let is_known = |it: &SupplyPoint| (it.volts - point.volts).abs() < SAME_SUPPLY;
        if newest.run == snapshot.run && !points.iter().any(is_known) {
            points.push(point);
        }
    }
    Some((points, of?)).filter(|(points, _)| points.len() > 1)
}

fn point(snapshot: &Snapshot) -> Option<SupplyPoint> {
    let speed = snapshot.measurement.speed?;
    Some(SupplyPoint {
        volts: snapshot.supply_volts?,
        deviation: speed.deviation,
        uncertainty: speed.uncertainty?,
    })
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

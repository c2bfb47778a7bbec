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

/// The newest of the other visits in words; older ones are counted.
pub(super) fn told_again(sheet: &Sheet<'_>) -> Option<[String; 2]> {
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
            format!(
                "{}: {}.",
                capital(side.word()),
                plainly::of(it, turn.band()).short
            )
        });
        let said: Vec<String> = said.collect();
        let said = format!("{time}{of_run}. {}", said.join(" "));
        Some([head.to_owned(), said])
    };
    let mut told = sheet.again.iter().rev().find_map(tell)?;
    let more = sheet.again.len() - 1;
    if more > 0 {
        let more = counted(more as u64, "more visit is", "more visits are");
        told[1] += &format!(" {} in {}.", capital(&more), sheet.file);
    }
    Some(told)
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

/// Speed along the tape.
#[derive(Clone, Debug)]
pub(super) struct AlongTape<'a> {
    pub along: Along,
    /// The newest of it, whose band holds.
    pub of: &'a Snapshot,
    /// All that it was measured by.
    pub shown: Vec<&'a Snapshot>,
    /// It is one long record in thirds; else places were measured one by one.
    pub is_of_record: bool,
}

/// Speed at several voltages.
#[derive(Clone, Debug)]
pub(super) struct AtVoltages<'a> {
    pub points: Vec<SupplyPoint>,
    /// The newest of it, whose band holds.
    pub of: &'a Snapshot,
    /// All that it was measured by.
    pub shown: Vec<&'a Snapshot>,
}

/// What was kept of this kind together with the newest of it, newest first: of
/// one machine, speed, direction and tape, with no work in between.
fn newest_run(snapshots: &[Snapshot], is_of: impl Fn(&Snapshot) -> bool) -> Vec<&Snapshot> {
    let is_named = |it: &Snapshot| matches!(it.label, Label::Named(_));
    let is_of = |it: &Snapshot| is_named(it) && is_of(it);
    let Some(newest) = snapshots.iter().rposition(is_of) else {
        return Vec::new();
    };
    let since_work = snapshots[..=newest].iter().rev();
    since_work
        .take_while(|it| is_named(it))
        .filter(|it| is_of(it) && are_comparable(it, &snapshots[newest]))
        .collect()
}

/// What differs between the two is not the machine, its speed, its direction or
/// the reference.
fn are_comparable(one: &Snapshot, other: &Snapshot) -> bool {
    let [name, other_name] = [one, other].map(|it| it.machine.as_deref());
    let of = |it: &Snapshot| it.measurement.conditions.reference;
    (name == other_name || same_machine(name, other_name))
        && one.run == other.run
        && one.tape == other.tape
        && of(one) == of(other)
        && one.simulated == other.simulated
}

/// Speed along the tape: from places that were measured one by one, else from a
/// long record.
pub(super) fn along<'a>(
    snapshots: &'a [Snapshot],
    turns: &[BeforeAfter<'a>],
) -> Option<AlongTape<'a>> {
    let run = newest_run(snapshots, |it| it.position.is_some());
    let place = |wanted| {
        let mut there = run.iter().filter(|it| it.position == Some(wanted));
        there.find_map(|it| Some((Place::of(it.measurement.speed.as_ref()?)?, *it)))
    };
    let [start, middle, end] = Position::ALL.map(place);
    if let Some((start, end)) = start.zip(end) {
        let shown = [Some(start), middle, Some(end)];
        return Some(AlongTape {
            along: Along::of(start.0, middle.map(|it| it.0), end.0),
            of: run[0],
            shown: shown.into_iter().flatten().map(|it| it.1).collect(),
            is_of_record: false,
        });
    }
    let kept = turns.iter().flat_map(|it| [it.after, it.before]).flatten();
    let mut long = kept.filter_map(|it| {
        Some(AlongTape {
            along: it.measurement.along?,
            of: it,
            shown: vec![it],
            is_of_record: true,
        })
    });
    long.next()
}

/// The newest run through several voltages, each once.
pub(super) fn supply(snapshots: &[Snapshot]) -> Option<AtVoltages<'_>> {
    let run = newest_run(snapshots, |it| point(it).is_some());
    let mut points: Vec<SupplyPoint> = Vec::new();
    let mut shown = Vec::new();
    for snapshot in run {
        let Some(point) = point(snapshot) else {
            continue;
        };
        let is_known = |it: &SupplyPoint| (it.volts - point.volts).abs() < SAME_SUPPLY;
        if !points.iter().any(is_known) {
            points.push(point);
            shown.push(snapshot);
        }
    }
    (points.len() > 1).then(|| AtVoltages {
        points,
        of: shown[0],
        shown,
    })
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
    use super::*;
    use crate::records::{Job, pairs};
    use crate::report::comparison::tests::before_and_after;
    use crate::report::sample;
    use jiff::tz::TimeZone;

    fn kept(label: Label, change: impl FnOnce(&mut Snapshot)) -> Snapshot {
        let mut snapshot = Snapshot::new(label, "line in", sample::measurement());
        change(&mut snapshot);
        snapshot
    }

    fn named(change: impl FnOnce(&mut Snapshot)) -> Snapshot {
        kept(Label::Named("a name".to_owned()), change)
    }

    fn at(position: Position) -> Snapshot {
        named(|it| it.position = Some(position))
    }

    fn with(volts: f64) -> Snapshot {
        named(|it| it.supply_volts = Some(volts))
    }

    fn work(label: Label) -> Snapshot {
        kept(label, |_| {})
    }

    #[test]
    fn places_of_one_state_of_one_machine_belong_together() {
        let whole = || Position::ALL.map(at);
        let is_told = |all: &[Snapshot]| along(all, &[]).map(|it| it.shown.len());
        assert_eq!(is_told(&whole()), Some(3));
        let [start, middle, end] = whole();
        let worked_on = [start, middle, work(Label::After), end];
        assert_eq!(is_told(&worked_on), None);
        for change in [
            |it: &mut Snapshot| it.machine = Some("another".to_owned()),
            |it: &mut Snapshot| it.tape = Some("another".to_owned()),
            |it: &mut Snapshot| it.simulated = true,
        ] {
            let mut all = whole();
            change(&mut all[0]);
            assert_eq!(is_told(&all), None);
        }
        // A whole run in front of the work is one.
        let mut all = whole().to_vec();
        all.push(work(Label::After));
        assert_eq!(is_told(&all), Some(3));
    }

    #[test]
    fn voltages_from_both_sides_of_the_work_are_not_mixed() {
        let volts = |all: &[Snapshot]| {
            let points = supply(all).map(|it| it.points);
            points.map(|it| it.iter().map(|it| it.volts).collect::<Vec<_>>())
        };
        let all = [
            with(6.0),
            with(5.0),
            work(Label::After),
            with(4.5),
            with(4.0),
        ];
        assert_eq!(volts(&all), Some(vec![4.0, 4.5]));
        assert_eq!(volts(&all[..4]), None);
        assert_eq!(volts(&all[..3]), Some(vec![5.0, 6.0]));
    }

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
        let [head, said] = told_again(&sheet).expect("another visit");
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
        let [head, said] = told_again(&sheet).expect("another visit");
        assert_eq!(head, "Earlier visit");
        assert!(said.starts_with("2026-03-01 11:05. Before: "), "{said}");
        assert!(said.contains(". After: "), "{said}");
    }
}

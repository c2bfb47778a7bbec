//! What of a job's measurements belongs on its sheet.

use jiff::Timestamp;

use super::{LONGEST_NAME, Turn, typed};
use crate::readings::{Along, Place, Position, SweepReport, SweepVerdict};
use crate::records::{BeforeAfter, Label, Snapshot, WiperCheck};
use crate::references::same_machine;
use crate::references::supply::{SAME_SUPPLY, SupplyPoint};

/// Each with what tells it from the others: speed and direction, and the machine
/// where there are several.
pub(super) fn turns<'a>(pairs: &[BeforeAfter<'a>]) -> Vec<Turn<'a>> {
    let first = |pair: &BeforeAfter<'a>| pair.each().next();
    let machine = |pair: &BeforeAfter<'a>| first(pair).and_then(|it| it.machine.as_deref());
    let of_first = pairs.first().and_then(machine);
    let are_several = pairs
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

//! Which before belongs to which after.

use super::snapshot::{Label, Snapshot};
use crate::references::same_machine;

/// What was kept of one machine at one of its speeds and directions, before the
/// work and after it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeforeAfter<'a> {
    /// `None` where nothing was kept in front of the work.
    pub before: Option<&'a Snapshot>,
    /// `None` where the work has not ended.
    pub after: Option<&'a Snapshot>,
}

impl<'a> BeforeAfter<'a> {
    /// Those that there are, the earlier one first.
    pub fn each(self) -> impl Iterator<Item = &'a Snapshot> {
        self.before.into_iter().chain(self.after)
    }
}

/// The newest after that has a before of the same machine, speed and direction
/// in front of it, and the newest such before; their places among all, which
/// stand oldest first.
pub fn newest_pair(snapshots: &[&Snapshot]) -> Option<[usize; 2]> {
    let afters = (0..snapshots.len()).rev();
    afters
        .filter(|&after| snapshots[after].label == Label::After)
        .find_map(|after| {
            let is_its = |before: &&Snapshot| {
                before.label == Label::Before && are_of_one(before, snapshots[after])
            };
            let before = snapshots[..after].iter().rposition(is_its)?;
            Some([before, after])
        })
}

/// The newest before and after of each machine, speed and direction, in the
/// order in which they were begun. One that has no pair stands alone.
pub fn pairs(snapshots: &[Snapshot]) -> Vec<BeforeAfter<'_>> {
    let mut groups: Vec<Vec<&Snapshot>> = Vec::new();
    let of_work = |it: &&Snapshot| matches!(it.label, Label::Before | Label::After);
    for snapshot in snapshots.iter().filter(of_work) {
        match groups.iter_mut().find(|it| are_of_one(it[0], snapshot)) {
            Some(group) => group.push(snapshot),
            None => groups.push(vec![snapshot]),
        }
    }
    groups.iter().map(|group| of_group(group)).collect()
}

fn of_group<'a>(group: &[&'a Snapshot]) -> BeforeAfter<'a> {
    if let Some([before, after]) = newest_pair(group) {
        return BeforeAfter {
            before: Some(group[before]),
            after: Some(group[after]),
        };
    }
    let newest = group.last().copied();
    let kept_as = |label: &Label| newest.filter(|it| it.label == *label);
    BeforeAfter {
        before: kept_as(&Label::Before),
        after: kept_as(&Label::After),
    }
}

/// Of the same machine, or both of one without a name, at the same speed and
/// direction; what is simulated is nobody else's.
fn are_of_one(one: &Snapshot, other: &Snapshot) -> bool {
    let [name, other_name] = [one, other].map(|it| it.machine.as_deref());
    let is_one_machine = name == other_name || same_machine(name, other_name);
    is_one_machine && one.run == other.run && one.simulated == other.simulated
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::Measurement;
    use crate::records::Run;

    fn kept(label: Label, machine: &str, speed_cm_s: Option<f64>) -> Snapshot {
        let mut snapshot = Snapshot::new(label, "line in", Measurement::default());
        snapshot.machine = Some(machine.to_owned());
        snapshot.run = speed_cm_s.map(|speed| Run {
            speed_cm_s: Some(speed),
            direction: None,
        });
        snapshot
    }

    fn places(all: &[Snapshot]) -> Vec<[Option<usize>; 2]> {
        let place = |it: Option<&Snapshot>| {
            it.and_then(|it| all.iter().position(|other| other.id == it.id))
        };
        let pairs = pairs(all).into_iter();
        pairs
            .map(|it| [place(it.before), place(it.after)])
            .collect()
    }

    #[test]
    fn the_newest_pair_is_of_one_machine_and_run() {
        let all = [
            kept(Label::Before, "deck 4", None),
            kept(Label::Before, "Deck-4", None),
            kept(Label::Before, "portable", None),
            kept(Label::Named("warm".to_owned()), "deck 4", None),
            kept(Label::After, "deck 4", None),
            kept(Label::After, "deck 5", None),
            kept(Label::Before, "deck 4", None),
        ];
        let of_all: Vec<&Snapshot> = all.iter().collect();
        assert_eq!(newest_pair(&of_all), Some([1, 4]));
        assert_eq!(newest_pair(&of_all[..4]), None);
        let expected = [[Some(1), Some(4)], [Some(2), None], [None, Some(5)]];
        assert_eq!(places(&all), expected);
    }

    #[test]
    fn each_speed_has_its_own_and_the_simulated_machine_too() {
        let mut all = vec![
            kept(Label::Before, "deck 4", Some(9.53)),
            kept(Label::Before, "deck 4", Some(19.05)),
            kept(Label::After, "deck 4", Some(19.05)),
            kept(Label::After, "deck 4", Some(9.53)),
        ];
        assert_eq!(places(&all), [[Some(0), Some(3)], [Some(1), Some(2)]]);
        all[3].simulated = true;
        let expected = [[Some(0), None], [Some(1), Some(2)], [None, Some(3)]];
        assert_eq!(places(&all), expected);
    }

    #[test]
    fn what_has_no_pair_stands_alone() {
        let all = [
            kept(Label::After, "deck 4", None),
            kept(Label::Before, "deck 4", None),
        ];
        assert_eq!(places(&all), [[Some(1), None]]);
        assert_eq!(places(&all[..1]), [[None, Some(0)]]);
        assert_eq!(places(&[]), [[None; 2]; 0]);
    }
}

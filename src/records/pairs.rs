//! Which before belongs to which after.

use super::snapshot::{Label, Snapshot};

/// A visit: what was kept of one machine at one of its speeds and directions,
/// before the work and after it.
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

    /// Of the same machine at the same speed and direction.
    pub fn is_alike(self, other: Self) -> bool {
        let both = self.each().next().zip(other.each().next());
        both.is_some_and(|(one, other)| one.is_alike(other))
    }
}

/// Every visit of each machine, speed and direction, in the order in which they
/// were begun: a before that follows an after begins another one. Of several
/// befores or afters in a visit the newest counts. One that has no pair stands
/// alone. `snapshots` come oldest first.
pub fn pairs<'a>(snapshots: impl IntoIterator<Item = &'a Snapshot>) -> Vec<BeforeAfter<'a>> {
    let mut visits: Vec<BeforeAfter<'a>> = Vec::new();
    for snapshot in snapshots {
        let [before, after] = match snapshot.label {
            Label::Before => [Some(snapshot), None],
            Label::After => [None, Some(snapshot)],
            Label::Named(_) => continue,
        };
        let new = BeforeAfter { before, after };
        let newest = visits.iter_mut().rfind(|it| it.is_alike(new));
        match newest.filter(|it| after.is_some() || it.after.is_none()) {
            Some(visit) => {
                visit.before = before.or(visit.before);
                visit.after = after;
            }
            None => visits.push(new),
        }
    }
    visits
}

/// The visit that ended last of those that have a before and an after.
/// `snapshots` come oldest first.
pub fn newest_pair<'a>(
    snapshots: impl IntoIterator<Item = &'a Snapshot>,
) -> Option<[&'a Snapshot; 2]> {
    let whole = pairs(snapshots).into_iter();
    let whole = whole.filter_map(|it| Some([it.before?, it.after?]));
    whole.max_by_key(|[_, after]| after.taken_at)
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
        assert_eq!(newest_pair(&all), Some([&all[1], &all[4]]));
        assert_eq!(newest_pair(&all[..4]), None);
        let expected = [
            [Some(1), Some(4)],
            [Some(2), None],
            [None, Some(5)],
            [Some(6), None],
        ];
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

    /// One job for a machine that comes every year.
    #[test]
    fn a_before_that_follows_an_after_begins_another_visit() {
        let labels = [
            Label::Before,
            Label::Before,
            Label::After,
            Label::After,
            Label::Before,
            Label::After,
            Label::Before,
        ];
        let all = labels.map(|label| kept(label, "deck 4", None));
        let expected = [[Some(1), Some(3)], [Some(4), Some(5)], [Some(6), None]];
        assert_eq!(places(&all), expected);
        assert_eq!(newest_pair(&all), Some([&all[4], &all[5]]));
    }

    #[test]
    fn what_has_no_pair_stands_alone() {
        let all = [
            kept(Label::After, "deck 4", None),
            kept(Label::Before, "deck 4", None),
        ];
        assert_eq!(places(&all), [[None, Some(0)], [Some(1), None]]);
        assert_eq!(places(&all[..1]), [[None, Some(0)]]);
        assert_eq!(places(&[]), [[None; 2]; 0]);
    }
}

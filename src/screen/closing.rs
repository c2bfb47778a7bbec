//! What stays on the shell when the screen is left: before and after, how they
//! are judged, where all lies, and how a sheet is made of it.

use super::panels::news::figures_of;
use super::state::{KeptOf, ScreenState, Slot};
use crate::report;
use crate::report::comparison::{judged, judged_alone};
use crate::report::numbers::plain;
use crate::report::supply::headline;

impl ScreenState {
    /// Nothing where nothing was kept.
    pub fn closing_words(&self) -> Vec<String> {
        let kept = self.kept_here();
        let mut machines = kept.iter().map(|of| of.machine);
        let first = machines.next().flatten();
        let are_several = machines.any(|it| it != first);
        let outcomes = kept.iter().flat_map(|of| self.outcome(*of, are_several));
        let mut words: Vec<String> = outcomes.collect();
        let supply = self.supply_judged();
        words.extend(supply.map(|judged| format!("supply: {}", headline(&judged))));
        let kept_in = self.jobs.iter();
        for open in kept_in.filter(|it| self.saved_in.contains(&it.path)) {
            words.push(format!("kept in {}", open.path.display()));
            words.push(format!("its sheet: {}", open.sheet));
        }
        words
    }

    /// Of which machines, speeds and directions something was kept in this sitting,
    /// in the order of that.
    fn kept_here(&self) -> Vec<KeptOf<'_>> {
        let mut found: Vec<KeptOf> = Vec::new();
        for all in self.left.iter().chain([&self.kept]) {
            for kept in all.iter().filter(|kept| kept.is_new) {
                let of = KeptOf {
                    all,
                    machine: kept.machine.as_deref(),
                    run: kept.run,
                };
                if !found.iter().any(|it| it.is_same(of)) {
                    found.push(of);
                }
            }
        }
        found
    }

    /// Before and after of one of them, or the one that was kept, and the verdict.
    fn outcome(&self, of: KeptOf, are_several: bool) -> Vec<String> {
        let Some(figures) = figures_of(self, of) else {
            return Vec::new();
        };
        let machine = of.machine.filter(|_| are_several).map(plain);
        let run = of.run.map(|run| run.to_string());
        let of_which = [machine, run].into_iter().flatten();
        let of_which: String = of_which.map(|it| it + ": ").collect();
        let pair = [Slot::Before, Slot::After].map(|slot| of.newest(|it| *it == slot));
        let pair = pair.map(|it| it.map(|kept| (&*kept.measurement, kept.tolerance)));
        let verdict = match pair {
            [Some(before), Some(after)] => Some(judged(before, after)),
            [one, other] => one.or(other).map(judged_alone),
        };
        let verdict = verdict.map(|words| {
            if self.look.unicode {
                words
            } else {
                report::ascii(&words)
            }
        });
        std::iter::once(of_which + &figures)
            .chain(verdict)
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::records::{Label, Snapshot};
    use crate::screen::specimen;
    use crate::screen::state::job::Thing;

    /// Keeps it as it is kept on the bench, and saves it in a job of its machine.
    fn keep(state: &mut ScreenState, slot: Slot, deviation: f64) {
        let measurement = Arc::new(specimen::measurement(deviation));
        let _ = state.keep_measured(slot, &measurement);
    }

    #[test]
    fn each_machine_has_its_own_before_and_after() {
        let mut state = specimen::showing(specimen::reading(0.0));
        for (machine, before, after) in [("deck 4", -1.2, 0.02), ("deck 5", 2.0, 0.03)] {
            let _ = state.take_machine(Some(machine.to_owned()));
            keep(&mut state, Slot::Before, before);
            if machine == "deck 4" {
                keep(&mut state, Slot::Named("belt".to_owned()), -0.7);
            }
            keep(&mut state, Slot::After, after);
        }
        let row = figures_of(&state, state.on_bench()).unwrap();
        assert_eq!(row, "before +2.000 ±0.020 % → after +0.030 ±0.020 %");
        let said = state.closing_words();
        assert_eq!(said.len(), 4, "{said:?}");
        assert_eq!(
            said[0],
            "deck 4: before -1.200 ±0.020 % → after +0.020 ±0.020 %  belt -0.700 ±0.020 %"
        );
        assert_eq!(
            said[2],
            "deck 5: before +2.000 ±0.020 % → after +0.030 ±0.020 %"
        );
    }

    #[test]
    fn what_is_kept_without_a_name_is_of_the_machine_of_its_job() {
        let mut state = specimen::showing(specimen::reading(0.0));
        keep(&mut state, Slot::Before, -1.2);
        let _ = state.take_machine(Some("deck 4".to_owned()));
        keep(&mut state, Slot::After, 0.02);
        let _ = state.take_machine(Some("deck 5".to_owned()));
        assert!(state.newest_kept(&Slot::Before).is_none());
        let said = state.closing_words();
        assert_eq!(said[0], "before -1.200 ±0.020 % → after +0.020 ±0.020 %");
        let mut state = specimen::showing(specimen::reading(0.0));
        state.show_job(specimen::job_of("deck 4", Vec::new()));
        assert_eq!(state.machine, None);
        keep(&mut state, Slot::Before, -1.2);
        let _ = state.take_machine(Some("deck 5".to_owned()));
        assert!(state.newest_kept(&Slot::Before).is_none());
    }

    #[test]
    fn of_a_job_that_was_only_looked_at_nothing_is_said() {
        let snapshots = [(Label::Before, -1.2), (Label::After, 0.02)]
            .map(|(label, it)| Snapshot::new(label, "Line In", specimen::measurement(it)));
        let old = specimen::job_of("deck 4", snapshots.to_vec());
        let mut state = specimen::showing(specimen::reading(0.0));
        let _ = state.take_machine(Some("deck 5".to_owned()));
        keep(&mut state, Slot::After, 0.4);
        let _ = state.saved(1, Ok(specimen::saved("repair 117")));
        let _ = state.job_opened(Ok(old));
        assert!(state.newest_kept(&Slot::After).is_some());
        let said = state.closing_words();
        assert_eq!(said[0], "after +0.400 ±0.020 %");
        assert!(said.iter().all(|it| !it.contains("deck 4")), "{said:?}");
        assert_eq!(said.len(), 4, "{said:?}");
    }

    #[test]
    fn what_was_kept_alone_has_its_verdict_too() {
        for (slot, deviation, verdict) in [
            (Slot::Before, -1.2, Some("OUT BY THIS TAPE")),
            (Slot::After, 0.02, Some("RIGHT BY THIS TAPE")),
            (Slot::Named("belt".to_owned()), 0.02, None),
        ] {
            let mut state = specimen::showing(specimen::reading(0.0));
            keep(&mut state, slot, deviation);
            let said = state.closing_words();
            let expected = verdict.map(|words| format!("In a band of ±0.5 % deck: {words}."));
            assert_eq!(said.get(1), expected.as_ref(), "{said:?}");
        }
    }

    #[test]
    fn before_after_verdict_place_and_command_stay() {
        let mut state = specimen::showing(specimen::reading(0.0));
        assert!(state.closing_words().is_empty());
        for (slot, deviation) in [(Slot::Before, -1.2), (Slot::After, 0.02)] {
            let kept = specimen::kept(slot, deviation);
            state.kept.push(kept.clone());
            let _ = state.entrust(Thing::Snapshot(Box::new(kept)));
        }
        let unsaved = state.closing_words().join("\n");
        assert!(!unsaved.contains("sheet"), "{unsaved}");
        let saved = specimen::saved("repair 117");
        assert_eq!(saved.into.job.snapshots.len(), 1);
        let _ = state.saved(1, Ok(saved.clone()));
        let _ = state.saved(2, Ok(saved));
        let said = state.closing_words();
        let expected = [
            "before -1.200 ±0.020 % → after +0.020 ±0.020 %",
            "In a band of ±0.5 % deck: OUT BY THIS TAPE → RIGHT BY THIS TAPE.",
            "kept in /data/jobs/repair 117.jsonl",
            "its sheet: tapewright sheet \"repair 117\"",
        ];
        assert_eq!(said, expected);
        state.look.unicode = false;
        assert!(state.closing_words().concat().is_ascii());
    }
}

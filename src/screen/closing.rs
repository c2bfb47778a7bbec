//! What stays on the shell when the screen is left: before and after, how they
//! are judged, where all lies, and how a sheet is made of it.

use super::panels::news::figures_of_run;
use super::state::{ScreenState, Slot};
use crate::records::Run;
use crate::report;
use crate::report::comparison::judged;
use crate::report::supply::headline;

impl ScreenState {
    /// Nothing where nothing was kept.
    pub fn closing_words(&self) -> Vec<String> {
        let mut words: Vec<String> = self.runs_kept().flat_map(|run| self.outcome(run)).collect();
        let supply = self.supply_judged();
        words.extend(supply.map(|judged| format!("supply: {}", headline(&judged))));
        for open in self.jobs.iter().filter(|it| !it.job.is_empty()) {
            words.push(format!("kept in {}", open.path.display()));
            words.push(format!("its sheet: {}", open.sheet));
        }
        words
    }

    /// Speeds and directions of which something was kept, in the order of that.
    fn runs_kept(&self) -> impl Iterator<Item = Option<Run>> {
        let mut runs = Vec::new();
        for kept in &self.kept {
            if !runs.contains(&kept.run) {
                runs.push(kept.run);
            }
        }
        runs.into_iter()
    }

    /// Before and after of one of them, and the verdict.
    fn outcome(&self, run: Option<Run>) -> Vec<String> {
        let Some(figures) = figures_of_run(self, run) else {
            return Vec::new();
        };
        let of_which = run.map_or(String::new(), |run| format!("{run}: "));
        let pair = [Slot::Before, Slot::After].map(|slot| self.newest_of_run(&slot, run));
        let verdict = match pair {
            [Some(before), Some(after)] => {
                let [before, after] =
                    [before, after].map(|kept| (&*kept.measurement, kept.tolerance));
                Some(judged(before, after))
            }
            _ => None,
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
    use crate::screen::specimen;
    use crate::screen::state::Slot;
    use crate::screen::state::job::Thing;

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
        state.saved(1, Ok(saved.clone()));
        state.saved(2, Ok(saved));
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

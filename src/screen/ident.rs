//! What the tape says of itself, for the screen.

use std::fmt::Write as _;

use super::pen::harmless;
use super::state::ScreenState;

impl ScreenState {
    /// In a line; `None` where the tape that runs has said nothing.
    pub(super) fn ident_words(&self) -> Option<String> {
        let ident = self.tape_ident()?;
        let machine = harmless(&ident.machine);
        let mut words = format!("the tape says: recorded on \"{machine}\", {}", ident.date);
        match self.nominal() {
            Some(nominal) if ident.contradicts(nominal) => {
                let _ = write!(words, ", with {} and not {nominal}", ident.nominal);
            }
            _ => {}
        }
        words.push_str(if self.is_recorded_here() {
            "; that is this machine, and it reads right at any speed: take a tape from elsewhere"
        } else if self.machine.is_none() {
            "; if that is the machine on the bench, name it so (m)"
        } else {
            ""
        });
        Some(words)
    }
}

#[cfg(test)]
mod tests {
    use crate::readings::TapeIdent;
    use crate::screen::specimen;
    use crate::screen::state::ScreenState;
    use crate::screen::verdict::Verdict;
    use crate::units::Hertz;

    fn with(machine: Option<&str>, nominal: f64) -> ScreenState {
        let mut reading = specimen::reading(0.1);
        reading.ident = Some(TapeIdent {
            machine: "deck 2".to_owned(),
            date: "2026-11-26".to_owned(),
            nominal: Hertz(nominal),
        });
        let mut state = specimen::showing(reading);
        state.machine = machine.map(str::to_owned);
        state
    }

    #[test]
    fn a_tape_of_this_machine_judges_nothing() {
        let here = with(Some("Deck 2"), 3150.0);
        assert_eq!(here.verdict(), Verdict::MadeHere);
        assert!(
            here.guidance_words()
                .unwrap()
                .contains("nothing to trim by")
        );
        assert!(here.ident_words().unwrap().contains("that is this machine"));
        let elsewhere = with(Some("deck 4"), 3150.0);
        assert_eq!(elsewhere.verdict(), Verdict::RightByThisTape);
        assert!(elsewhere.ident_words().unwrap().ends_with("2026-11-26"));
    }

    #[test]
    fn a_bench_without_a_name_is_asked_for_it() {
        assert!(with(None, 3150.0).ident_words().unwrap().contains("(m)"));
        let other = with(None, 3000.0).ident_words().unwrap();
        assert!(other.contains("3000 Hz and not 3150 Hz"), "{other}");
        assert_eq!(
            specimen::showing(specimen::reading(0.0)).ident_words(),
            None
        );
    }
}

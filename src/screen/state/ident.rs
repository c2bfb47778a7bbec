//! Where the tape was recorded, as its card, the tape itself or somebody says.

use std::fmt::Write as _;

use super::{ScreenState, SourceKind};
use crate::references::same_machine;
use crate::report::numbers::plain;

impl ScreenState {
    /// The tape was recorded on the machine on the bench: its card, the tape
    /// itself or somebody says so.
    pub fn is_recorded_here(&self) -> bool {
        let machine = self.machine.as_deref();
        self.origins().any(|it| same_machine(Some(it), machine))
    }

    /// Nobody has said where the tape was recorded, and it may be anywhere: on
    /// the machine on the bench it would read right at any speed.
    pub(in crate::screen) fn asks_for_origin(&self) -> bool {
        self.kind != SourceKind::Rehearsal && self.tape.is_none() && self.origins().next().is_none()
    }

    /// Names of the machine that the tape was recorded on.
    fn origins(&self) -> impl Iterator<Item = &str> {
        let card = self.tape.as_ref();
        let card = card.and_then(|card| card.recorded_on.as_deref());
        let ident = self.tape_ident().map(|ident| ident.machine.as_str());
        [card, ident, self.recorded_on.as_deref()]
            .into_iter()
            .flatten()
    }

    /// What was typed as the machine that the tape was recorded on.
    pub(in crate::screen) fn take_origin(&mut self, said: Option<String>) {
        self.message = Some(match (&said, &self.machine) {
            (None, _) => "nobody knows where the tape was recorded".to_owned(),
            (Some(_), None) => "noted; now name the machine on the bench (m)".to_owned(),
            (Some(said), Some(_)) => format!("the tape was recorded on \"{}\"", plain(said)),
        });
        self.recorded_on = said;
    }

    /// In a line; `None` where the tape that runs has said nothing.
    pub(in crate::screen) fn ident_words(&self) -> Option<String> {
        let ident = self.tape_ident()?;
        let machine = plain(&ident.machine);
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
    use crate::readings::{TapeIdent, Verdict};
    use crate::screen::specimen;
    use crate::screen::state::{ScreenState, SourceKind};
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
                .contains("recorded elsewhere")
        );
        assert!(here.ident_words().unwrap().contains("that is this machine"));
        let elsewhere = with(Some("deck 4"), 3150.0);
        assert_eq!(elsewhere.verdict(), Verdict::RightByThisTape);
        assert!(elsewhere.ident_words().unwrap().ends_with("2026-11-26"));
    }

    #[test]
    fn who_says_nothing_is_asked_and_what_is_said_counts() {
        let mut state = specimen::showing(specimen::reading(0.1));
        state.kind = SourceKind::Input;
        state.machine = Some("deck 2".to_owned());
        assert!(state.asks_for_origin() && !state.is_recorded_here());
        state.take_origin(Some("Deck-2".to_owned()));
        assert!(!state.asks_for_origin());
        assert_eq!(state.verdict(), Verdict::MadeHere);
        state.take_origin(Some("deck 4".to_owned()));
        assert_eq!(state.verdict(), Verdict::RightByThisTape);
        state.take_origin(None);
        assert!(state.asks_for_origin());
        state.kind = SourceKind::Rehearsal;
        assert!(!state.asks_for_origin());
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

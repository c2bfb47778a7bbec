//! Another input in the place of the one before, however late the screen hears of
//! it: what is said then, and the clock that counts from then on.

use super::ScreenState;
use crate::audio::analysis::SourceState;
use crate::audio::source::StreamFormat;
use crate::screen::words::clock_in_force;

/// The input that ran when it was looked last.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in crate::screen) struct KnownInput {
    name: String,
    /// How many there had been by then.
    sources: u32,
    format: Option<StreamFormat>,
}

impl ScreenState {
    /// Another input has, or may have, taken the place of the one before, or
    /// the same runs at another rate; each has a sample clock of its own.
    pub(super) fn follow_input(&mut self) {
        let clock = self.live.clock.filter(|it| *it != self.conditions.clock);
        let what = self.another_input();
        if let Some(clock) = clock {
            self.conditions.clock = clock;
        }
        let known = clock.map(|clock| clock_in_force(self.look, &clock));
        let said = match (what, known) {
            (None, None) => return,
            (Some(what), None) => what,
            (Some(what), Some(known)) => format!("{what}; {known}"),
            (None, Some(known)) => format!("the input runs at another rate now: {known}"),
        };
        self.message = Some(said);
    }

    /// What there is to say once it runs. What was being kept of the one before is
    /// never done.
    fn another_input(&mut self) -> Option<String> {
        let (name, format) = match &self.live.source {
            SourceState::Running { name, format } => (name, Some(*format)),
            SourceState::Late { name } => (name, self.input.format),
            _ => return None,
        };
        let now = KnownInput {
            name: name.clone(),
            sources: self.live.sources,
            format,
        };
        let before = std::mem::replace(&mut self.input, now);
        let (name, lost) = (&self.input.name, &before.name);
        if lost.is_empty() || before == self.input {
            return None;
        }
        self.watch.exchanged = true;
        if before.sources == self.input.sources {
            return None;
        }
        // What follows for the work first: a narrow screen cuts the end off.
        Some(if lost == name {
            format!("all starts anew: {name} is back, perhaps with another input behind it")
        } else {
            format!("all starts anew: the input is {name} now, for {lost} stayed away")
        })
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::audio::analysis::LiveState;
    use crate::readings::SampleClock;
    use crate::screen::specimen;
    use crate::screen::state::{Slot, SourceKind};
    use crate::units::Ppm;

    /// The newest state with this source, the nth.
    fn with(sources: u32, source: SourceState) -> LiveState {
        let live = specimen::live(9, specimen::reading(0.0));
        LiveState {
            source,
            sources,
            ..LiveState::clone(&live)
        }
    }

    fn lost(name: &str) -> SourceState {
        let [name, reason] = [name, "gone"].map(str::to_owned);
        SourceState::Lost { name, reason }
    }

    fn running(name: &str, rate_hz: u32) -> SourceState {
        let format = StreamFormat {
            rate_hz,
            channels: 2,
        };
        let name = name.to_owned();
        SourceState::Running { name, format }
    }

    /// What is said when the input of this name was lost, and the usual one
    /// follows with this clock.
    fn said_after(name: &str, clock: SampleClock) -> String {
        let mut state = specimen::state(SourceKind::Input);
        state.conditions.clock.uncertainty = Ppm(12.0);
        for source in [running(name, 48_000), lost(name)] {
            let mut live = with(1, source);
            live.clock = Some(state.conditions.clock);
            state.take(Arc::new(live));
        }
        let mut another = with(2, running("Line In", 48_000));
        another.clock = Some(clock);
        state.take(Arc::new(another));
        assert_eq!(state.conditions.clock, clock);
        state.message.unwrap_or_default()
    }

    #[test]
    fn an_input_that_stands_in_for_another_is_told_with_its_clock_in_one_sentence() {
        let known = SampleClock {
            uncertainty: Ppm(12.0),
            ..SampleClock::default()
        };
        let said = said_after("USB line", SampleClock::default());
        for part in ["Line In now", "USB line", "±100 ppm"] {
            assert!(said.contains(part), "{part}: {said}");
        }
        assert!(!said.contains("rate"), "{said}");
        assert!(!said_after("USB line", known).contains("ppm"));
        // The name does not tell.
        let said = said_after("Line In", SampleClock::default());
        assert!(
            said.contains("another input") && said.contains("±100 ppm"),
            "{said}"
        );
    }

    #[test]
    fn another_input_is_told_also_where_what_it_gives_is_late() {
        for (sources, name, is_told) in [(1, "Line In", false), (2, "USB line", true)] {
            let mut state = specimen::showing(specimen::reading(0.0));
            let name = name.to_owned();
            state.take(Arc::new(with(sources, SourceState::Late { name })));
            let said = state.message.unwrap_or_default();
            let now = "the input is USB line now";
            assert_eq!(said.contains(now), is_told, "{said}");
        }
    }

    #[test]
    fn an_input_that_is_first_seen_lost_is_no_other_when_it_runs() {
        let mut state = specimen::state(SourceKind::Input);
        state.take(Arc::new(with(1, lost("Line In"))));
        state.take(Arc::new(with(1, running("Line In", 48_000))));
        assert_eq!(state.message, None);
    }

    /// The screen may be held up while inputs come and go.
    #[test]
    fn another_input_that_came_and_went_unseen_is_told_when_it_is_back() {
        let mut state = specimen::showing(specimen::reading(0.0));
        state.take(Arc::new(with(2, lost("Line In"))));
        assert_eq!(state.message, None);
        state.take(Arc::new(with(2, running("Line In", 48_000))));
        let said = state.message.unwrap_or_default();
        assert!(said.contains("perhaps with another"), "{said}");
    }

    #[test]
    fn nothing_is_kept_across_inputs_or_rates_even_where_the_loss_went_unseen() {
        for (sources, rate_hz, is_kept) in
            [(1, 48_000, true), (2, 48_000, false), (1, 96_000, false)]
        {
            let mut state = specimen::showing(specimen::reading(0.0));
            assert_eq!(state.keep(Slot::Before).len(), 1);
            let next = with(sources, running("Line In", rate_hz));
            let effects = state.take(Arc::new(next));
            assert_eq!(state.keeping.is_some(), is_kept);
            assert_eq!(effects.is_empty(), is_kept);
            let said = state.message.unwrap_or_default();
            let why = "was not kept: another input or rate came in between; all starts anew";
            assert_eq!(said.contains(why), !is_kept, "{said}");
        }
    }

    #[test]
    fn the_clock_in_force_is_the_one_shown() {
        let mut state = specimen::state(SourceKind::Input);
        state.conditions.clock.uncertainty = Ppm(12.0);
        state.message = Some("as it was measured".to_owned());
        let mut live = LiveState::clone(&specimen::live(1, specimen::reading(0.01)));
        live.clock = Some(state.conditions.clock);
        let _ = state.take(Arc::new(live.clone()));
        assert_eq!(state.message.as_deref(), Some("as it was measured"));
        live.clock = Some(SampleClock::default());
        let _ = state.take(Arc::new(live));
        assert_eq!(state.conditions.clock, SampleClock::default());
        assert!(state.message.unwrap().contains("±100 ppm"));
    }
}

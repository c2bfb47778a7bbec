//! What was heard a little while ago and still counts: when the sound began,
//! and the last figures that had settled.

use std::sync::Arc;

use super::ScreenState;
use crate::audio::analysis::{LiveState, SourceState};
use crate::readings::{DROPOUTS_ALLOWED, Guidance, Problem, Reading, Steadiness};
use crate::units::{Hertz, Percent, Seconds};

/// While a machine runs up, its tone glides and its level rises: no steady
/// tone yet, and what looks like dropouts. Our own allowance, no source.
pub(in crate::screen) const RUN_UP: Seconds = Seconds(3.0);

/// What the screen remembers of earlier readings.
#[derive(Clone, Debug, Default)]
pub(in crate::screen) struct Heard {
    /// The newest reading whose speed had settled.
    settled: Option<Arc<Reading>>,
    /// Since when the sound that is there has been there.
    since: Option<Seconds>,
    /// How much older the figures are than the end of the recording.
    age: Option<Seconds>,
}

impl Heard {
    /// How long before the end of the recording the figures shown were read;
    /// `None` where they are those at its end.
    pub(in crate::screen) fn age(&self) -> Option<Seconds> {
        self.age
    }

    /// The same figures against another tone.
    pub(in crate::screen) fn measure_against(&mut self, tone: Hertz) {
        let settled = self.settled.take();
        self.settled = settled.and_then(|reading| against(&reading, tone).map(Arc::new));
    }

    /// Figures by another reference say nothing.
    pub(in crate::screen) fn forget(&mut self) {
        self.settled = None;
    }
}

/// What the earlier reading tells of the machine; what is under way is of now.
fn figures_of(settled: &Reading, now: &Reading) -> Reading {
    Reading {
        at: now.at,
        keeping: now.keeping.clone(),
        sweep: now.sweep.clone(),
        holding: now.holding,
        ident: now.ident.clone(),
        trend: Arc::clone(&now.trend),
        ..settled.clone()
    }
}

/// A percent of one nominal is another part of a percent of the next.
fn against(reading: &Reading, tone: Hertz) -> Option<Reading> {
    let times = reading.nominal?.0 / tone.0;
    let mut reading = reading.clone();
    let scale = |percent: &mut Percent| percent.0 *= times;
    let move_to = |percent: &mut Percent| percent.0 = (100.0 + percent.0) * times - 100.0;
    if let Some(speed) = &mut reading.speed {
        move_to(&mut speed.deviation);
        move_to(&mut speed.needle);
        let parts = [
            &mut speed.uncertainty,
            &mut speed.uncertainty_with_reference,
            &mut speed.scatter,
        ];
        parts.into_iter().flatten().for_each(scale);
    }
    if let Some(drift) = &mut reading.drift {
        drift.percent_per_minute *= times;
        let known = drift.uncertainty_percent_per_minute;
        drift.uncertainty_percent_per_minute = known.map(|known| known * times);
        drift.span.iter_mut().for_each(scale);
    }
    reading.flutter.figures_mut().for_each(scale);
    reading.nominal = Some(tone);
    reading.worth = None;
    reading.guidance = Guidance::default();
    let is_open = |problem: &Problem| matches!(problem, Problem::Ambiguous { .. });
    reading.signal.problems.retain(|problem| !is_open(problem));
    Some(reading)
}

fn is_settled(reading: &Reading) -> bool {
    let speed = reading.speed.as_ref();
    speed.is_some_and(|speed| speed.steadiness == Steadiness::Settled)
}

impl ScreenState {
    /// Remembers what a newer reading tells.
    pub(in crate::screen) fn remember(&mut self, reading: &Arc<Reading>) {
        let is_silent = reading.signal.problems.contains(&Problem::NoSignal);
        let since = self.heard.since.filter(|since| *since <= reading.at);
        // What is only late still comes.
        let comes = self.is_live() || matches!(self.live.source, SourceState::Late { .. });
        self.heard.since = if is_silent || self.is_switched_off() || !comes {
            None
        } else {
            since.or(Some(reading.at))
        };
        if is_settled(reading) {
            self.heard.settled = Some(Arc::clone(reading));
        }
        self.keep_the_last_settled(reading);
    }

    /// A recording ends with the machine's running down, or with silence: the
    /// last figures that had settled stay in sight, and all that belongs to
    /// them.
    fn keep_the_last_settled(&mut self, last: &Reading) {
        let ended = matches!(self.live.source, SourceState::Ended { .. });
        let settled = self.heard.settled.as_ref();
        let settled = settled.filter(|_| ended && !is_settled(last));
        self.heard.age = settled.map(|settled| Seconds(last.at.0 - settled.at.0));
        if let Some(settled) = settled {
            let mut live = LiveState::clone(&self.live);
            live.reading = Some(Arc::new(figures_of(settled, last)));
            self.live = Arc::new(live);
        }
    }

    /// The machine may still be running up.
    pub(in crate::screen) fn is_starting(&self) -> bool {
        let now = self.reading().map(|reading| reading.at.0);
        let tone = self.reading().is_some_and(|it| it.speed.is_some());
        let since = self.heard.since.filter(|_| !tone);
        now.zip(since)
            .is_some_and(|(now, since)| now - since.0 < RUN_UP.0)
    }

    /// It may be true, and is no alarm yet.
    pub(in crate::screen) fn is_passing(&self, problem: &Problem) -> bool {
        match problem {
            Problem::NoTone => self.is_starting(),
            Problem::Dropouts(count) => {
                *count <= DROPOUTS_ALLOWED as u64 || self.is_fresh_from_run_up()
            }
            _ => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{Holding, Nominal};
    use crate::screen::state::SourceKind;
    use crate::screen::{Action, specimen};

    fn at(seconds: f64, mut reading: Reading) -> Reading {
        reading.at = Seconds(seconds);
        reading
    }

    fn ended(sequence: u64, reading: Reading) -> Arc<LiveState> {
        let name = "side a.wav".to_owned();
        from(SourceState::Ended { name }, sequence, reading)
    }

    fn from(source: SourceState, sequence: u64, reading: Reading) -> Arc<LiveState> {
        let live = specimen::live(sequence, reading);
        Arc::new(LiveState {
            source,
            ..LiveState::clone(&live)
        })
    }

    #[test]
    fn what_is_late_is_heard_on_and_what_is_lost_is_not() {
        let mut state = specimen::state(SourceKind::Input);
        let _ = state.take(specimen::live(1, at(5.0, specimen::reading(-1.0))));
        let [name, reason] = ["Line In", "gone"].map(str::to_owned);
        let late = SourceState::Late { name: name.clone() };
        let lost = SourceState::Lost { name, reason };
        for (source, since) in [(late, Some(Seconds(5.0))), (lost, None)] {
            let _ = state.take(from(source, 1, at(6.0, specimen::reading(-1.0))));
            assert_eq!(state.heard.since, since);
        }
    }

    #[test]
    fn at_the_end_of_a_recording_the_last_settled_figures_stay() {
        let mut state = specimen::state(SourceKind::Recording);
        let _ = state.take(specimen::live(1, at(20.0, specimen::reading(-1.0))));
        let mut running_down = at(21.0, specimen::reading(-30.0));
        running_down.speed.as_mut().unwrap().steadiness = Steadiness::Moving;
        for last in [running_down, at(32.0, specimen::silence())] {
            let mut state = state.clone();
            let until = last.at.0;
            let _ = state.take(ended(2, last));
            let shown = state.reading().and_then(|it| it.speed).unwrap();
            assert!((shown.deviation.0 + 1.0).abs() < 1e-12);
            assert_eq!(state.heard.age(), Some(Seconds(until - 20.0)));
        }
        let _ = state.take(ended(2, at(30.0, specimen::reading(-1.1))));
        assert_eq!(state.heard.age(), None);
        // Nothing settled: what there is, is shown.
        let mut state = specimen::state(SourceKind::Recording);
        let _ = state.take(ended(1, specimen::silence()));
        assert!(state.reading().is_some_and(|it| it.speed.is_none()));
    }

    #[test]
    fn the_question_at_the_end_of_a_recording_can_be_answered() {
        let mut reading = at(20.0, specimen::reading(-1.0));
        reading.signal.problems = vec![specimen::ambiguous()];
        let nominal = reading.nominal.unwrap();
        let mut state = specimen::state(SourceKind::Recording);
        state.conditions.nominal = Nominal::Assumed(nominal);
        let _ = state.take(specimen::live(1, reading));
        let _ = state.take(ended(2, at(22.0, specimen::silence())));
        assert!(state.is_tone_open());
        let _ = state.act(Action::ChooseTone(0));
        let Nominal::Fixed(tone) = state.conditions.nominal else {
            panic!("{:?}", state.conditions.nominal);
        };
        assert!(tone != nominal);
        // The engine has no tone any more when it is told.
        let _ = state.take(ended(3, at(22.0, specimen::silence())));
        assert!(!state.is_tone_open());
        let told = state.reading().and_then(|it| it.speed).unwrap();
        let right = 99.0 * nominal.0 / tone.0 - 100.0;
        assert!((told.deviation.0 - right).abs() < 1e-9, "{told:?}");
    }

    #[test]
    fn what_is_under_way_goes_on_beside_the_figures_that_stay() {
        let mut state = specimen::state(SourceKind::Recording);
        let mut reading = at(20.0, specimen::reading(-1.0));
        reading.holding = Some(Holding::Averaging {
            have: Seconds(1.0),
            want: Seconds(5.0),
        });
        let _ = state.take(specimen::live(1, reading));
        let _ = state.take(ended(2, at(22.0, specimen::silence())));
        let shown = state.reading().unwrap();
        assert!(shown.speed.is_some());
        assert_eq!(shown.holding, None);
        // Another speed of the machine has nothing yet.
        state.heard.forget();
        let _ = state.take(ended(3, at(22.0, specimen::silence())));
        assert!(state.reading().is_some_and(|it| it.speed.is_none()));
    }

    #[test]
    fn a_motor_that_runs_up_is_not_called_music() {
        let mut state = specimen::state(SourceKind::Input);
        let no_tone = |seconds| {
            let mut reading = at(seconds, specimen::silence());
            reading.signal.problems = vec![Problem::NoTone];
            reading
        };
        let _ = state.take(specimen::live(1, at(10.0, specimen::silence())));
        assert_eq!(state.problems().count(), 1);
        for (seconds, told) in [(11.0, 0), (13.5, 0), (14.5, 1)] {
            let _ = state.take(specimen::live(2, no_tone(seconds)));
            assert_eq!(state.problems().count(), told, "{seconds}");
        }
    }

    #[test]
    fn a_dropout_now_and_then_is_no_alarm() {
        let mut reading = specimen::reading(0.0);
        for (count, told) in [(1, 0), (3, 0), (4, 1)] {
            reading.signal.problems = vec![Problem::Dropouts(count)];
            let state = specimen::showing(reading.clone());
            assert_eq!(state.problems().count(), told, "{count}");
        }
    }
}

//! What the program sees at a step, in a line.

use std::fmt::Write as _;

use super::{Routine, Step};
use crate::audio::analysis::SourceState;
use crate::readings::{
    Along, Holding, Keeping, Measurement, Place, Position, Problem, Reading, ReferenceKind,
    Sweeping, Warming,
};
use crate::report::sweep::headline;
use crate::screen::references;
use crate::screen::state::view::View;
use crate::screen::state::{Kept, ScreenState, Slot};
use crate::screen::words::{level, noun, problem, signed, with_uncertainty};
use crate::units::Percent;

impl ScreenState {
    /// What is seen now that belongs to the step that is shown.
    pub(in crate::screen) fn seen_now(&self) -> String {
        match self.routine.at() {
            step if self.routine.mark(step) == super::Mark::LeftOut => self.seen_of_speed(),
            Step::Connect => self.seen_of_input(),
            Step::Signal => self.seen_of_signal(),
            Step::WarmUp => self.seen_of_drift(),
            Step::Before => self.seen_of_keeping(&Slot::Before),
            Step::Clean => self.seen_of_power(),
            Step::Wiper => self.seen_of_wiper(),
            Step::Trim => self.seen_of_speed(),
            Step::HandsOff => self.seen_of_holding(),
            Step::Along => self.seen_along(),
            Step::After => self.seen_after(),
        }
    }

    fn seen_of_input(&self) -> String {
        if matches!(self.live.source, SourceState::Ended { .. }) {
            return "the recording has ended".to_owned();
        }
        if !self.is_live() {
            return "nothing new comes in yet".to_owned();
        }
        let levels = self.reading().map(|reading| &reading.signal.input_level);
        let levels: Vec<String> = levels.into_iter().flatten().map(|it| level(*it)).collect();
        format!("samples come in, level {}", levels.join(" and "))
    }

    fn seen_of_signal(&self) -> String {
        let Some(reading) = self.reading() else {
            return "nothing heard yet".to_owned();
        };
        if self.is_switched_off() {
            return "the power is off".to_owned();
        }
        if let Some(trouble) = self.serious_trouble() {
            let text = problem(trouble, reading, self.nominal(), self.conditions.kind);
            let short = text.split(':').next().unwrap_or_default();
            return short.to_owned();
        }
        let (mut seen, _) = references::short(reading);
        if let Some(loud) = reading.signal.tone_level {
            let _ = write!(seen, ", {}", level(loud));
        }
        if let Some(snr) = reading.signal.snr {
            let _ = write!(seen, ", {:.0} dB above the noise", snr.0);
        }
        seen
    }

    /// A trouble that makes a reading worthless, if there is one.
    pub(super) fn serious_trouble(&self) -> Option<&Problem> {
        self.problems().find(|problem| {
            !matches!(
                problem,
                Problem::Dropouts(_)
                    | Problem::OneChannel(_)
                    | Problem::ChannelTaken(_)
                    | Problem::OtherSound { .. }
                    | Problem::Hum { .. }
            )
        })
    }

    /// How far the machine has warmed up.
    pub(super) fn warming(&self) -> Warming {
        let drift = self.reading().and_then(|reading| reading.drift.as_ref());
        Warming::of(drift, self.tolerance.half_width)
    }

    fn seen_of_drift(&self) -> String {
        let bound = Warming::bound_percent_per_minute(self.tolerance.half_width);
        let bound = format!("wanted {}{bound:.2} %/min", self.look.plus_minus());
        let drift = self.reading().and_then(|reading| reading.drift);
        let Some(drift) = drift else {
            return format!("drift not known yet, {bound}");
        };
        let known = drift.uncertainty_percent_per_minute.map(Percent);
        let mut slope = with_uncertainty(self.look, drift.percent_per_minute, known);
        if known.is_none() {
            let _ = write!(slope, " {} not known yet", self.look.plus_minus());
        }
        let word = match self.warming() {
            Warming::Warm => "warm",
            Warming::Drifting => "still drifting",
            Warming::Unknown => "not sure yet",
        };
        format!("drift {slope}, {bound}: {word}")
    }

    fn seen_of_keeping(&self, slot: &Slot) -> String {
        if self.keeping.as_ref() == Some(slot) {
            return self.progress_of_keeping();
        }
        match self.newest_kept(slot) {
            Some(kept) => format!("kept {} {}", slot.name(), self.figure_of(kept)),
            None => self.seen_of_speed(),
        }
    }

    /// How far the stretch that is being kept has come.
    pub(in crate::screen) fn progress_of_keeping(&self) -> String {
        match self.reading().and_then(|it| it.keeping.as_ref()) {
            Some(Keeping::Averaging { have, want }) => {
                format!("averaging {:.0} of {:.0} s", have.0.floor(), want.0)
            }
            _ if self.conditions.kind == ReferenceKind::Passage => {
                "waits for the passage, from its first sound to its last".to_owned()
            }
            _ => format!("waits for a steady {}", noun(self.conditions.kind)),
        }
    }

    /// The speed of a snapshot with its ±.
    pub(in crate::screen) fn figure_of(&self, kept: &Kept) -> String {
        self.speed_in_words(&kept.measurement)
    }

    /// The speed of a measurement with its ±.
    pub(in crate::screen) fn speed_in_words(&self, measurement: &Measurement) -> String {
        let Some(speed) = &measurement.speed else {
            return "no speed".to_owned();
        };
        let known = speed.stated_uncertainty();
        let figure = with_uncertainty(self.look, speed.deviation.0, known);
        format!("{figure} %")
    }

    fn seen_of_power(&self) -> String {
        let heard = self.reading().map(references::short);
        match self.bench {
            Some(bench) if bench.powered => format!("power on, cleaned {}x", bench.strokes),
            Some(bench) => format!("power OFF, cleaned {}x", bench.strokes),
            None if self.reading().is_some_and(|it| it.speed.is_some()) => {
                let noun = noun(self.conditions.kind);
                format!("the {noun} is there: the power is on")
            }
            None => heard.map_or_else(|| "nothing heard".to_owned(), |(words, _)| words),
        }
    }

    fn seen_of_wiper(&self) -> String {
        match (self.sweeping(), self.newest_sweep()) {
            (Some(Sweeping::Running(_)), _) => "the sweep is under way".to_owned(),
            (_, Some(report)) => format!("wiper {}", headline(report)),
            (_, None) => "not swept yet".to_owned(),
        }
    }

    fn seen_of_speed(&self) -> String {
        let Some(speed) = self.reading().and_then(|it| it.speed.as_ref()) else {
            return "no reading".to_owned();
        };
        let sign = self.look.plus_minus();
        let known = match speed.stated_uncertainty() {
            Some(known) => self.shifted(speed.deviation, known),
            None => format!("{} %, {sign} not known yet", signed(speed.deviation.0, 2)),
        };
        let band = self.tolerance.half_width.0;
        let verdict = self.verdict().words().to_lowercase();
        format!("{known}, band {sign}{band} %: {verdict}")
    }

    fn seen_of_holding(&self) -> String {
        match self.reading().and_then(|reading| reading.holding) {
            None => "nothing settled to compare with: trim first".to_owned(),
            Some(Holding::Averaging { have, want }) => {
                let have = have.0.floor();
                format!("measuring without the tool, {have:.0} of {:.0} s", want.0)
            }
            Some(Holding::Holds(shift)) => {
                format!("it holds: {}", self.shifted(shift.by, shift.uncertainty))
            }
            Some(Holding::Moved(shift)) => {
                let by = self.shifted(shift.by, shift.uncertainty);
                format!("it moved by {by}: trim again")
            }
        }
    }

    /// A change with its ±.
    pub(super) fn shifted(&self, by: Percent, uncertainty: Percent) -> String {
        format!("{} %", with_uncertainty(self.look, by.0, Some(uncertainty)))
    }

    /// The readings along the tape so far, and what they say.
    fn seen_along(&self) -> String {
        if let Some(long_run) = &self.long_run {
            let number = long_run.stretches() + 1;
            return format!("stretch {number}: {}", self.progress_of_keeping());
        }
        if let Some(Slot::Along(position)) = &self.keeping {
            return format!("{}: {}", position.name(), self.progress_of_keeping());
        }
        if let Some(along) = self.along() {
            let change = self.shifted(along.change, along.change_uncertainty);
            let change = format!("{change} from start to end");
            return if !along.is_sloping() {
                let sign = self.look.plus_minus();
                format!("{change}: no slope beyond the {sign}")
            } else if self.warming() == Warming::Drifting {
                format!("{change}, but it still drifts: repeat it warm")
            } else {
                format!("{change}: take-up tension, holdback or pinch roller?")
            };
        }
        let figure = |position: Position| {
            let kept = self.newest_kept(&Slot::Along(position))?;
            Some(format!("{} {}", position.name(), self.figure_of(kept)))
        };
        let seen: Vec<String> = Position::ALL.into_iter().filter_map(figure).collect();
        if seen.is_empty() {
            return "nothing kept yet".to_owned();
        }
        seen.join(", ")
    }

    /// Speed along the tape, once start and end are kept.
    pub(in crate::screen) fn along(&self) -> Option<Along> {
        let place = |position| {
            let kept = self.newest_kept(&Slot::Along(position))?;
            Place::of(kept.measurement.speed.as_ref()?)
        };
        let (start, end) = (place(Position::Start)?, place(Position::End)?);
        Some(Along::of(start, place(Position::Middle), end))
    }

    fn seen_after(&self) -> String {
        if self.keeping == Some(Slot::After) {
            return self.progress_of_keeping();
        }
        let [before, after] = [Slot::Before, Slot::After].map(|slot| self.newest_kept(&slot));
        let Some((before, after)) = before.zip(after) else {
            return self.seen_of_keeping(&Slot::After);
        };
        let [before, after] = [before, after].map(|kept| self.figure_of(kept));
        format!("before {before} {} after {after}", self.look.arrow())
    }

    /// The simulated machine is switched off: silence is no trouble then.
    pub(in crate::screen) fn is_switched_off(&self) -> bool {
        self.bench.is_some_and(|bench| !bench.powered)
    }
}

/// A speed that is followed well enough to be called a signal.
pub(super) fn is_readable(reading: &Reading) -> bool {
    let followed = reading.tone == crate::readings::ToneState::Locked;
    (followed || reading.timed.is_some()) && reading.speed.is_some()
}

/// Used by the strip: what the key that goes on does at a step.
pub(in crate::screen) fn key_does(routine: &Routine, state: &ScreenState) -> &'static str {
    let done = routine.is_done(routine.at());
    if state.is_checking_contact() {
        return "end the check";
    }
    if state.view == View::Supply {
        return state.supply_key_does();
    }
    match routine.at() {
        Step::Before | Step::Along | Step::After if state.keeping.is_some() => "wait",
        Step::Before | Step::After if !done => "keep it",
        Step::Along if !done => match state.next_position() {
            Some(Position::Start) => "keep start",
            Some(Position::Middle) => "keep middle",
            _ => "keep end",
        },
        Step::Wiper if routine.has_no_trimmer() => "go on",
        Step::Wiper if state.is_sweeping() => "end the sweep",
        Step::Wiper if state.wants_cleaning() => "to cleaning",
        Step::Wiper if state.wants_a_new_trimmer() => "go on",
        Step::Wiper if !done => "begin a sweep",
        Step::Clean => match (state.bench, state.routine.strokes_wanted) {
            (Some(bench), wanted) if bench.powered && bench.strokes < wanted => "power off",
            (Some(bench), wanted) if bench.strokes < wanted => "work the wiper",
            (Some(bench), _) if !bench.powered => "power on",
            _ => "go on",
        },
        Step::After if state.runs.next_to_do().is_some() => "next run",
        Step::After => "done",
        _ => "go on",
    }
}

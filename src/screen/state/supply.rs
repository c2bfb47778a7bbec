//! A run through two or more supply voltages: at each the speed is kept as a
//! snapshot, then it is said whether the speed holds or follows the cells.

use std::sync::Arc;

use super::overlay::Overlay;
use super::view::View;
use super::{Effect, Entry, EntryFor, Kept, ScreenState, Slot};
use crate::readings::{Measurement, Reading, ToneState};
use crate::records::Run;
use crate::references::Reference;
use crate::references::supply::{SAME_SUPPLY, SupplyJudgement, SupplyPoint, SupplyVerdict};
use crate::units::Seconds;

/// A machine has started once its speed is within this of its mean, percent,
/// for this long, seconds. Choices.
const STARTED_PERCENT: f64 = 1.0;
const STARTED_FOR_S: f64 = 0.5;
/// It stands while the sound is this far below the tone that was measured, dB,
/// and has begun to turn once it is this near: as a tone is found only near its
/// speed, the sound tells earlier. Choices.
const STANDS_DB: f64 = 20.0;
const SOUNDS_DB: f64 = 10.0;

/// The run so far.
#[derive(Clone, Debug, Default)]
pub struct SupplyRun {
    /// Highest voltage first.
    points: Vec<AtVoltage>,
    /// A voltage that was typed and is not measured yet.
    asked: Option<f64>,
    starting: Starting,
}

/// What was measured at a voltage.
#[derive(Clone, Debug)]
pub struct AtVoltage {
    /// Of the supply.
    pub volts: f64,
    /// The stretch that was kept.
    pub measurement: Arc<Measurement>,
    /// From the first sound to speed, where the machine was started there.
    pub starts_in: Option<Seconds>,
    of: Bench,
}

/// What stood on the bench; points of different ones tell nothing together.
#[derive(Clone, Debug, PartialEq)]
struct Bench {
    machine: Option<String>,
    run: Option<Run>,
    reference: Reference,
}

impl Bench {
    /// A machine that was only named meanwhile is still the same.
    fn is(&self, other: &Self) -> bool {
        let named = |bench: &Self| bench.machine.is_some();
        let same = self.machine == other.machine || !(named(self) && named(other));
        same && self.run == other.run && self.reference == other.reference
    }
}

/// A start of the machine that is being watched.
#[derive(Clone, Copy, Debug, Default)]
enum Starting {
    #[default]
    Running,
    /// No sound.
    Stopped,
    /// It sounds since `begun` and is near its mean since `near`.
    Speeding {
        begun: Seconds,
        near: Option<Seconds>,
    },
}

/// The name of the snapshot at a voltage.
fn name_at(volts: f64) -> String {
    format!("supply {volts} V")
}

impl ScreenState {
    /// Opens the view; within it, asks for the next voltage.
    pub(in crate::screen) fn supply_key(&mut self) -> Vec<Effect> {
        if self.view == View::Supply {
            return self.ask_voltage();
        }
        if self.is_checking() {
            return self.say("end the check first, or stop it: Esc");
        }
        self.view = View::Supply;
        self.supply.starting = Starting::default();
        Vec::new()
    }

    /// The key that goes on: asks for a voltage, then measures at it.
    pub(in crate::screen) fn supply_goes_on(&mut self) -> Vec<Effect> {
        match self.supply.asked {
            Some(volts) => self.keep(Slot::Named(name_at(volts))),
            None => self.ask_voltage(),
        }
    }

    /// What that key does next, for the footer.
    pub(in crate::screen) fn supply_key_does(&self) -> &'static str {
        match self.supply.asked {
            _ if self.keeping.is_some() => "wait",
            Some(_) => "measure",
            None => "next voltage",
        }
    }

    fn ask_voltage(&mut self) -> Vec<Effect> {
        if let Some(slot) = &self.keeping {
            let name = slot.name();
            return self.say(format!("still keeping {name}; Esc stops it"));
        }
        if !self.is_live() {
            return self.say("nothing to measure: nothing new comes in");
        }
        self.cover(Overlay::Entry(Entry {
            purpose: EntryFor::RunVoltage,
            text: String::new(),
        }))
    }

    /// A voltage was typed for the run.
    pub(in crate::screen) fn take_run_voltage(&mut self, said: Option<&str>) -> Vec<Effect> {
        let Some(volts) = said.and_then(|said| self.voltage_of(said)) else {
            return Vec::new();
        };
        self.supply.asked = Some(volts);
        self.supply.starting = Starting::default();
        self.set_supply(volts)
    }

    /// Goes back to the bench; what was measured stays for when it is opened
    /// again.
    pub(in crate::screen) fn leave_supply(&mut self) -> Vec<Effect> {
        self.view = View::Bench;
        if let Some(volts) = self.supply_volts.filter(|_| !self.supply.points.is_empty()) {
            self.message = Some(format!(
                "set the supply back to what the machine is made for; v types it, for snapshots \
                 go on saying {volts} V"
            ));
        }
        Vec::new()
    }

    /// The voltage that was typed and not measured yet.
    pub(in crate::screen) fn voltage_asked(&self) -> Option<f64> {
        self.supply.asked
    }

    /// A snapshot was kept: that of the run joins it, in the place of an earlier
    /// one at the same voltage.
    pub(in crate::screen) fn follow_supply(&mut self, kept: &Kept) {
        let is_of_run = |volts: &f64| kept.slot == Slot::Named(name_at(*volts));
        let Some(volts) = self.supply.asked.filter(is_of_run) else {
            return;
        };
        self.supply.asked = None;
        self.supply.starting = Starting::default();
        let of = self.on_the_bench();
        let points = &mut self.supply.points;
        points.retain(|it| it.of.is(&of) && (it.volts - volts).abs() >= SAME_SUPPLY);
        points.push(AtVoltage {
            volts,
            measurement: Arc::clone(&kept.measurement),
            starts_in: None,
            of,
        });
        points.sort_by(|one, other| other.volts.total_cmp(&one.volts));
    }

    /// Another voltage was said meanwhile: the one that was asked for does not
    /// stand any more.
    pub(in crate::screen) fn forget_voltage_asked(&mut self) {
        self.supply.asked = None;
    }

    /// The trimmer was turned: what was measured before says nothing of what
    /// comes.
    pub(in crate::screen) fn forget_supply_points(&mut self) {
        self.supply.points.clear();
    }

    fn on_the_bench(&self) -> Bench {
        Bench {
            machine: self.machine.clone(),
            run: self.runs.on(),
            reference: self.reference.clone(),
        }
    }

    /// What was measured of what is on the bench now, highest voltage first.
    pub(in crate::screen) fn supply_points(&self) -> impl Iterator<Item = &AtVoltage> {
        let now = self.on_the_bench();
        let points = self.supply.points.iter();
        points.filter(move |it| it.of.is(&now))
    }

    /// What the voltages so far tell.
    pub fn supply_judged(&self) -> Option<SupplyJudgement> {
        let point = |it: &AtVoltage| {
            let speed = it.measurement.speed?;
            Some(SupplyPoint {
                volts: it.volts,
                deviation: speed.deviation,
                uncertainty: speed.uncertainty?,
            })
        };
        let points: Vec<SupplyPoint> = self.supply_points().filter_map(point).collect();
        SupplyJudgement::of(&points, self.tolerance.half_width)
    }

    /// Whether the speed follows the supply, where that was tried and told.
    pub fn follows_supply(&self) -> Option<bool> {
        match self.supply_judged()?.verdict {
            SupplyVerdict::Follows => Some(true),
            SupplyVerdict::Holds => Some(false),
            SupplyVerdict::NotTold => None,
        }
    }

    /// Watches a machine that is stopped and started at the voltage that was
    /// measured last.
    pub(in crate::screen) fn follow_start(&mut self, reading: &Reading) {
        if self.view != View::Supply || self.keeping.is_some() || self.supply.asked.is_some() {
            self.supply.starting = Starting::default();
            return;
        }
        let Some(volts) = self.supply_volts else {
            return;
        };
        let at_it = |it: &&mut AtVoltage| (it.volts - volts).abs() < SAME_SUPPLY;
        let Some(point) = self.supply.points.iter_mut().find(at_it) else {
            return;
        };
        if let Some(took) = self.supply.starting.follow(reading, &point.measurement) {
            point.starts_in = Some(took);
        }
    }
}

impl Starting {
    /// One reading on; how long a start has taken that is over now.
    fn follow(&mut self, reading: &Reading, measured: &Measurement) -> Option<Seconds> {
        let (mean, level) = (measured.speed?.deviation, measured.signal.level?);
        let loudest = reading.signal.input_level.iter().map(|level| level.0);
        let below = level.0 - loudest.fold(f64::NEG_INFINITY, f64::max);
        if reading.tone != ToneState::Locked && below > STANDS_DB {
            *self = Self::Stopped;
        }
        let now = reading.at;
        let (begun, near) = match *self {
            Self::Running => return None,
            Self::Stopped if below > SOUNDS_DB => return None,
            Self::Stopped => (now, None),
            Self::Speeding { begun, near } => (begun, near),
        };
        let is_near = reading
            .speed
            .is_some_and(|speed| (speed.needle.0 - mean.0).abs() <= STARTED_PERCENT);
        let near = is_near.then(|| near.unwrap_or(now));
        *self = Self::Speeding { begun, near };
        let since = near.filter(|since| now.0 - since.0 >= STARTED_FOR_S)?;
        *self = Self::Running;
        Some(Seconds(since.0 - begun.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::analysis::Request;
    use crate::audio::rehearsal_source::{BenchCommand, BenchStatus};
    use crate::readings::Keeping;
    use crate::screen::specimen;
    use crate::screen::state::SourceKind;
    use crate::screen::state::action::Action;
    use crate::screen::state::job::{Entrusted, Thing};
    use crate::units::Decibels;

    fn opened(kind: SourceKind) -> ScreenState {
        let mut state = specimen::state(kind);
        let _ = state.take(specimen::live(1, specimen::reading(0.0)));
        assert!(state.act(Action::Supply).is_empty());
        assert_eq!((state.view, &state.overlay), (View::Supply, &None));
        state
    }

    /// Types a voltage with the key that goes on.
    fn type_voltage(state: &mut ScreenState, text: &str) -> Vec<Effect> {
        let _ = state.act(Action::GoOn);
        assert!(state.overlay.is_some(), "{:?}", state.message);
        for letter in text.chars() {
            let _ = state.act(Action::Letter(letter));
        }
        state.act(Action::Accept)
    }

    /// The stretch that is being kept is done.
    fn done(state: &mut ScreenState, deviation: f64) -> Vec<Effect> {
        let mut reading = specimen::reading(deviation);
        let measurement = Arc::new(specimen::measurement(deviation));
        reading.keeping = Some(Keeping::Done(measurement));
        state.take(specimen::live(state.live.sequence + 1, reading))
    }

    fn measured(state: &mut ScreenState, text: &str, deviation: f64) {
        let _ = type_voltage(state, text);
        let effects = state.act(Action::GoOn);
        assert!(matches!(effects[..], [Effect::Ask(Request::Keep(_))]));
        let effects = done(state, deviation);
        assert!(matches!(
            &effects[..],
            [_, Effect::Save(Entrusted { thing: Thing::Snapshot(kept), .. })]
                if kept.supply_volts.is_some()
        ));
    }

    #[test]
    fn two_voltages_are_kept_and_judged() {
        let mut state = opened(SourceKind::Input);
        measured(&mut state, "6 V", 0.1);
        assert_eq!(state.supply_judged(), None);
        measured(&mut state, "4,5", -1.4);
        let judged = state.supply_judged().expect("two voltages");
        assert_eq!(judged.verdict, SupplyVerdict::Follows);
        assert!((judged.percent_per_volt - 1.0).abs() < 1e-9);
        assert_eq!(state.follows_supply(), Some(true));
        let names: Vec<&str> = state.kept.iter().map(|kept| kept.slot.name()).collect();
        assert_eq!(names, ["supply 6 V", "supply 4.5 V"]);
        assert_eq!(state.kept[1].supply_volts, Some(4.5));
        // The same voltage again stands in its place.
        measured(&mut state, "4.5", 0.12);
        assert_eq!(state.supply_points().count(), 2);
        assert_eq!(state.follows_supply(), Some(false));
    }

    #[test]
    fn what_is_no_voltage_is_refused_and_the_simulated_supply_follows() {
        let mut state = opened(SourceKind::Rehearsal);
        state.bench = Some(BenchStatus {
            trimmer: 0.5,
            powered: true,
            strokes: 0,
        });
        for wrong in ["much", "-3", "0", ""] {
            assert!(type_voltage(&mut state, wrong).is_empty());
            assert_eq!(state.voltage_asked(), None, "{wrong}");
        }
        let effects = type_voltage(&mut state, "5");
        assert!(
            matches!(effects[..], [Effect::Bench(BenchCommand::Supply(volts))] if (volts - 5.0).abs() < 1e-9)
        );
    }

    #[test]
    fn stopped_left_and_opened_again_it_goes_on_where_it_was() {
        let mut state = opened(SourceKind::Input);
        measured(&mut state, "6", 0.1);
        let _ = type_voltage(&mut state, "4");
        let _ = state.act(Action::GoOn);
        assert!(state.keeping.is_some());
        // Neither key asks for more while it measures.
        for key in [Action::GoOn, Action::Supply] {
            assert!(state.act(key).is_empty());
            assert!(state.overlay.is_none());
        }
        // Esc stops the stretch, then leaves.
        let effects = state.act(Action::Stop);
        assert!(matches!(effects[..], [Effect::Ask(Request::ForgetKept)]));
        assert_eq!(
            (state.view, state.voltage_asked()),
            (View::Supply, Some(4.0))
        );
        let _ = state.act(Action::Stop);
        assert_eq!(state.view, View::Bench);
        assert!(
            state
                .message
                .as_deref()
                .is_some_and(|it| it.contains("back"))
        );
        let _ = state.act(Action::Supply);
        let _ = state.act(Action::GoOn);
        // Another page meanwhile: what was begun still counts.
        let _ = state.act(Action::Contact);
        let _ = done(&mut state, -1.9);
        assert_eq!(state.supply_points().count(), 2);
        assert_eq!(state.follows_supply(), Some(true));
    }

    #[test]
    fn what_is_not_of_this_machine_as_it_stands_does_not_count() {
        let mut state = opened(SourceKind::Input);
        measured(&mut state, "6", 0.1);
        // Kept for something else, though at a voltage.
        let _ = type_voltage(&mut state, "4");
        let _ = state.act(Action::Keep(Slot::Before));
        let _ = done(&mut state, -1.9);
        assert_eq!(state.supply_points().count(), 1);
        assert_eq!(state.voltage_asked(), Some(4.0));
        state.machine = Some("deck 4".to_owned());
        assert_eq!(state.supply_points().count(), 1, "it was only named");
        let _ = state.act(Action::GoOn);
        let _ = done(&mut state, -1.9);
        assert_eq!(state.supply_points().count(), 2);
        state.machine = Some("deck 5".to_owned());
        assert_eq!(state.supply_points().count(), 1);
        let _ = state.act(Action::Turn(0.01));
        assert_eq!(state.supply_points().count(), 0);
    }

    #[test]
    fn a_voltage_that_was_said_meanwhile_is_not_taken_for_the_one_asked_for() {
        let mut state = opened(SourceKind::Input);
        let _ = type_voltage(&mut state, "6");
        let _ = state.act(Action::GoOn);
        let _ = state.act(Action::Type(EntryFor::Supply));
        let _ = state.act(Action::Letter('5'));
        let _ = state.act(Action::Accept);
        let _ = done(&mut state, 0.1);
        assert_eq!(state.supply_points().count(), 0);
        assert_eq!(state.voltage_asked(), None);
        assert_eq!(state.kept[0].supply_volts, Some(5.0));
    }

    #[test]
    fn nothing_is_asked_of_an_input_that_is_gone() {
        let mut state = specimen::state(SourceKind::Input);
        let _ = state.act(Action::Supply);
        let _ = state.act(Action::GoOn);
        assert!(state.overlay.is_none());
        assert!(state.message.is_some_and(|it| it.contains("nothing new")));
    }

    #[test]
    fn a_start_is_timed_from_the_first_sound_to_the_speed() {
        let mut state = opened(SourceKind::Input);
        measured(&mut state, "6", 0.1);
        let mut play = |at: f64, level: f64, needle: Option<f64>| {
            let mut reading = needle.map_or_else(specimen::silence, specimen::reading);
            reading.at = Seconds(at);
            reading.signal.input_level = vec![Decibels(level), Decibels(-90.0)];
            if let (Some(speed), Some(needle)) = (&mut reading.speed, needle) {
                speed.needle.0 = needle;
            }
            let sequence = state.live.sequence + 1;
            let _ = state.take(specimen::live(sequence, reading));
            state.supply_points().next().and_then(|it| it.starts_in)
        };
        // A dip while it runs is no start, nor is a tone that is lost in noise.
        assert_eq!(play(1.0, -12.0, Some(-4.0)), None);
        assert_eq!(play(2.0, -12.0, None), None);
        assert_eq!(play(2.2, -12.0, Some(0.1)), None);
        assert_eq!(play(2.8, -12.0, Some(0.1)), None);
        assert_eq!(play(3.0, -70.0, None), None);
        // It sounds long before a tone is found.
        assert_eq!(play(4.0, -15.0, None), None);
        // Through the band and out again.
        assert_eq!(play(5.0, -12.0, Some(0.5)), None);
        assert_eq!(play(5.2, -12.0, Some(2.0)), None);
        assert_eq!(play(6.5, -12.0, Some(0.9)), None);
        assert_eq!(play(7.0, -12.0, Some(0.2)), Some(Seconds(2.5)));
        assert_eq!(play(9.0, -12.0, Some(-3.0)), Some(Seconds(2.5)));
    }
}

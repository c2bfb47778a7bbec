//! What an action does: it changes the state and may ask for effects, which
//! are values, so that all of it is tested without a terminal.

use super::action::Action;
use super::overlay::Overlay;
use super::view::View;
use super::{Effect, Entry, EntryFor, Lead, ScreenState, Slot};
use crate::audio::analysis::Request;
use crate::audio::rehearsal_source::BenchCommand;
use crate::readings::{KeepRequest, Nominal};
use crate::references::{Reference, Tolerance};
use crate::report::numbers::is_harmful;
use crate::units::Seconds;

/// How long a snapshot averages: whole wow periods, at least ten seconds, at
/// most thirty.
pub(in crate::screen) const KEEP: KeepRequest = KeepRequest {
    at_least: Seconds(10.0),
    at_most: Seconds(30.0),
};

/// No machine is supplied with more, in volts. A choice.
const HIGHEST_SUPPLY: f64 = 500.0;

/// Letters of a name, of a note, and of a file with its folders, at most:
/// choices.
const LONGEST_ENTRY: usize = 60;
const LONGEST_NOTE: usize = 400;
const LONGEST_PATH: usize = 1000;

fn longest(purpose: EntryFor) -> usize {
    match purpose {
        EntryFor::Reference(_) => LONGEST_PATH,
        EntryFor::Note => LONGEST_NOTE,
        _ => LONGEST_ENTRY,
    }
}

const POWER_OFF_FIRST: &str = "power off first (p). On a real machine: pull the plug, let the \
    capacitors discharge; cleaner is flammable, ventilate, let it dry before power";

impl ScreenState {
    /// Carries an action out.
    pub fn act(&mut self, action: Action) -> Vec<Effect> {
        let leaving = self.leaving;
        if !action.leaves_the_bench_alone() {
            // Whatever was said has been read by now.
            self.message = None;
            self.leaving = false;
        }
        match action {
            Action::Help => self.cover(Overlay::Help(0)),
            Action::Budget => self.cover(Overlay::Budget),
            Action::Job => self.cover(Overlay::Job(0)),
            Action::Card => self.cover(Overlay::Card(0)),
            Action::PageOn => self.turn_page(true),
            Action::PageBack => self.turn_page(false),
            Action::Uncover => {
                self.overlay = None;
                Vec::new()
            }
            Action::Contact => self.check_contact(),
            Action::WorkControl => self.work_control(),
            Action::Sweep => self.sweep(),
            Action::SweepByHand => self.sweep_by_hand(),
            Action::Edge => vec![Effect::Ask(Request::EdgeByHand)],
            Action::Choose => self.open_choices(),
            Action::ChoiceUp => self.move_choice(false),
            Action::ChoiceDown => self.move_choice(true),
            Action::TakeChoice => self.take_choice(),
            Action::MarkAnEighth => vec![Effect::Ask(Request::MarkAnEighth)],
            Action::GoOn => self.go_on(),
            Action::GoBack => self.go_back(),
            Action::Pass => self.pass(),
            Action::Supply => self.supply_key(),
            Action::LongRun => self.long_run_key(),
            Action::NextRun => self.next_run(),
            Action::NoTrimmer => self.toggle_trimmer(),
            Action::MuteTicks => {
                self.mute_ticks();
                self.mute_listening();
                Vec::new()
            }
            Action::Quit => self.quit(leaving),
            Action::Interrupt => vec![Effect::Interrupt],
            Action::Suspend => vec![Effect::Suspend],
            Action::Repaint => vec![Effect::Repaint],
            Action::NextUnit => {
                self.lead = self.lead.next();
                if self.lead == Lead::Hertz && !self.conditions.kind.has_frequency() {
                    self.lead = self.lead.next();
                }
                Vec::new()
            }
            Action::NextTolerance => {
                self.tolerance = self.tolerance.next_class();
                let band = self.tolerance.half_width;
                vec![Effect::Ask(Request::Tolerance(band))]
            }
            Action::Lines => self.lines_page(),
            Action::Causes => self.cover(Overlay::Causes(0)),
            Action::MarkNextLine => self.mark_next_line(),
            Action::NameLine => self.name_line(),
            Action::NextPartsCard => self.next_parts_card(),
            Action::Keep(slot) => self.keep(slot),
            Action::Stop => self.stop(),
            Action::RetrySaving => self.retry_saving(),
            Action::ChooseTone(number) => self.choose_tone(number),
            Action::Turn(by) => {
                self.follow_turning();
                self.forget_supply_points();
                vec![Effect::Bench(BenchCommand::Turn(by))]
            }
            Action::CleanStroke => self.clean_stroke(),
            Action::Power => {
                let on = !self.is_powered();
                self.follow_cleaning();
                vec![Effect::Bench(BenchCommand::Power(on))]
            }
            entry => self.type_line(&entry),
        }
    }

    fn quit(&mut self, asked_before: bool) -> Vec<Effect> {
        let Some(lost) = self.lost_by_leaving().filter(|_| !asked_before) else {
            return vec![Effect::Quit];
        };
        self.leaving = true;
        self.say(lost)
    }

    /// What has to be said before the program is left; `None` if nothing is lost.
    fn lost_by_leaving(&self) -> Option<String> {
        let unsaved = self.unsaved().count();
        if unsaved > 0 {
            let lost = format!("{unsaved} not saved: r tries again, q again leaves without");
            return Some(lost);
        }
        if let Some(slot) = self.keeping.as_ref().map(Slot::name) {
            return Some(format!(
                "{slot} is still being kept: q again leaves without"
            ));
        }
        let under_way = match (self.is_sweeping(), self.is_checking_contact()) {
            (true, _) => "the sweep is not judged yet: w",
            (_, true) => "the check is not judged yet: k",
            _ => return None,
        };
        Some(format!("{under_way} ends it, q again leaves without"))
    }

    pub(in crate::screen) fn keep(&mut self, slot: Slot) -> Vec<Effect> {
        if let Some(current) = &self.keeping {
            let name = current.name();
            return self.say(format!("still keeping {name}; Esc stops it"));
        }
        if !self.is_live() {
            return self.say("nothing to keep: nothing new comes in");
        }
        self.follow_keeping(&slot);
        self.warn_of_hands(&slot);
        self.keeping = Some(slot);
        vec![Effect::Ask(Request::Keep(KEEP))]
    }

    fn stop(&mut self) -> Vec<Effect> {
        if self.view == View::Contact {
            return self.leave_contact();
        }
        if self.view == View::Wiper {
            return self.leave_wiper();
        }
        if self.view == View::Supply && self.keeping.is_none() {
            return self.leave_supply();
        }
        if self.view == View::Lines {
            return self.lines_page();
        }
        match self.keeping.take() {
            Some(slot) => {
                self.long_run = None;
                self.message = Some(format!("{} was not kept", slot.name()));
                vec![Effect::Ask(Request::ForgetKept)]
            }
            None => Vec::new(),
        }
    }

    fn choose_tone(&mut self, number: usize) -> Vec<Effect> {
        let Some(tone) = self.tones_to_choose().get(number).copied() else {
            return Vec::new();
        };
        let before = (self.conditions.nominal, self.reference.clone());
        self.before_answer.get_or_insert(before);
        self.conditions.nominal = Nominal::Fixed(tone);
        self.reference = Reference::Tone(tone);
        self.heard.measure_against(tone);
        self.message = Some(format!("measured against {tone} from now on"));
        vec![Effect::Ask(Request::Nominal(Nominal::Fixed(tone)))]
    }

    fn is_powered(&self) -> bool {
        self.bench.is_some_and(|bench| bench.powered)
    }

    fn clean_stroke(&mut self) -> Vec<Effect> {
        if self.is_powered() {
            return self.say(POWER_OFF_FIRST);
        }
        vec![Effect::Bench(BenchCommand::CleanStroke)]
    }

    fn type_line(&mut self, action: &Action) -> Vec<Effect> {
        if let &Action::Type(purpose) = action {
            let before = match purpose {
                EntryFor::Snapshot
                | EntryFor::Tolerance
                | EntryFor::Supply
                | EntryFor::RunVoltage
                | EntryFor::Part
                | EntryFor::Note
                | EntryFor::Reference(_) => None,
                EntryFor::Machine => self.machine.clone(),
                EntryFor::RecordedOn => self.recorded_on.clone(),
            };
            return self.cover(Overlay::Entry(Entry {
                purpose,
                text: before.unwrap_or_default(),
            }));
        }
        let Some(Overlay::Entry(entry)) = &mut self.overlay else {
            return Vec::new();
        };
        match action {
            Action::Letter(letter)
                if !is_harmful(*letter) && entry.text.chars().count() < longest(entry.purpose) =>
            {
                entry.text.push(*letter);
            }
            Action::Erase => {
                entry.text.pop();
            }
            Action::EraseAll => entry.text.clear(),
            Action::Accept => return self.accept(),
            _ => {}
        }
        Vec::new()
    }

    /// A voltage as people type it: a comma or a point, with or without V. The
    /// simulated supply goes there.
    fn take_supply(&mut self, said: Option<&str>) -> Vec<Effect> {
        self.forget_voltage_asked();
        let Some(said) = said else {
            self.supply_volts = None;
            return Vec::new();
        };
        let Some(volts) = self.voltage_of(said) else {
            return Vec::new();
        };
        self.message = Some(format!("{volts} V goes with the next snapshots"));
        self.set_supply(volts)
    }

    /// What was typed; says so where it is none.
    pub(in crate::screen) fn voltage_of(&mut self, said: &str) -> Option<f64> {
        let plain = said.trim_end_matches(['V', 'v']).trim().replace(',', ".");
        let possible = |volts: &f64| volts.is_finite() && *volts > 0.0 && *volts <= HIGHEST_SUPPLY;
        let volts = plain.parse::<f64>().ok().filter(possible);
        if volts.is_none() {
            self.message = Some(format!(
                "\"{}\" is no voltage from 0 to {HIGHEST_SUPPLY} V, such as 2.9; type it again",
                said.chars().take(12).collect::<String>()
            ));
        }
        volts
    }

    /// It goes with the next snapshots, and the simulated supply goes there.
    pub(in crate::screen) fn set_supply(&mut self, volts: f64) -> Vec<Effect> {
        self.supply_volts = Some(volts);
        if self.bench.is_some() {
            vec![Effect::Bench(BenchCommand::Supply(volts))]
        } else {
            Vec::new()
        }
    }

    fn take_tolerance(&mut self, said: Option<&str>) -> Vec<Effect> {
        let Some(said) = said else { return Vec::new() };
        match said.parse::<Tolerance>() {
            Ok(tolerance) => {
                self.tolerance = tolerance;
                vec![Effect::Ask(Request::Tolerance(tolerance.half_width))]
            }
            Err(error) => self.say(error.to_string()),
        }
    }

    fn accept(&mut self) -> Vec<Effect> {
        let Some(Overlay::Entry(entry)) = self.overlay.take() else {
            return Vec::new();
        };
        let text = entry.text.trim().to_owned();
        let said = (!text.is_empty()).then_some(text);
        match entry.purpose {
            EntryFor::Machine => return self.take_machine(said),
            EntryFor::RecordedOn => self.take_origin(said),
            EntryFor::Note => return self.take_note(said),
            EntryFor::Part => return self.learn_part(said),
            EntryFor::Supply => return self.take_supply(said.as_deref()),
            EntryFor::RunVoltage => return self.take_run_voltage(said.as_deref()),
            EntryFor::Tolerance => return self.take_tolerance(said.as_deref()),
            EntryFor::Reference(kind) => return self.take_reference(kind, said.as_deref()),
            EntryFor::Snapshot => match said {
                Some(name) => return self.keep(Slot::Named(name)),
                None => self.message = Some("a named snapshot needs a name".to_owned()),
            },
        }
        Vec::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::rehearsal_source::BenchStatus;
    use crate::readings::Problem;
    use crate::screen::specimen;
    use crate::screen::state::{Lead, SourceKind};

    fn type_text(state: &mut ScreenState, text: &str) {
        for letter in text.chars() {
            let _ = state.act(Action::Letter(letter));
        }
    }

    fn unsaved() -> ScreenState {
        let mut state = specimen::showing(specimen::reading(0.0));
        let _ = state.take_note(Some("new belt".to_owned()));
        state.saving_has_ended();
        state
    }

    #[test]
    fn a_line_that_is_typed_shows_and_takes_no_letter_that_drives_the_terminal() {
        let mut state = specimen::state(SourceKind::Input);
        state.machine = Some("deck\u{202e}4".to_owned());
        let _ = state.act(Action::Type(EntryFor::Machine));
        for letter in "\u{1b}\u{200f}\u{202e}\u{200b}\u{3164}\u{e0041}".chars() {
            let _ = state.act(Action::Letter(letter));
        }
        let Some(Overlay::Entry(entry)) = &state.overlay else {
            panic!("nothing is typed")
        };
        assert_eq!(entry.text, "deck\u{202e}4");
        let text = specimen::text(&state, (80, 24));
        assert!(text.contains("deck\\u202e4_"), "{text}");
        assert!(!text.contains('\u{202e}'));
    }

    #[test]
    fn keeping_asks_for_ten_to_thirty_seconds_and_only_once() {
        let mut state = specimen::showing(specimen::reading(0.0));
        let effects = state.act(Action::Keep(Slot::Before));
        assert!(matches!(effects[..], [Effect::Ask(Request::Keep(KEEP))]));
        assert!(state.act(Action::Keep(Slot::After)).is_empty());
        assert_eq!(state.keeping, Some(Slot::Before));
        let effects = state.act(Action::Stop);
        assert!(matches!(effects[..], [Effect::Ask(Request::ForgetKept)]));
        assert_eq!(state.keeping, None);
    }

    #[test]
    fn nothing_is_kept_of_an_input_that_is_gone() {
        let mut state = specimen::state(SourceKind::Input);
        assert!(state.act(Action::Keep(Slot::Before)).is_empty());
        assert_eq!(state.keeping, None);
        assert!(state.message.is_some());
    }

    #[test]
    fn a_named_snapshot_is_typed_and_then_kept() {
        let mut state = specimen::showing(specimen::reading(0.0));
        let _ = state.act(Action::Type(EntryFor::Snapshot));
        type_text(&mut state, " reel ends\u{1b}x");
        let _ = state.act(Action::Erase);
        let effects = state.act(Action::Accept);
        assert!(matches!(effects[..], [Effect::Ask(Request::Keep(_))]));
        assert_eq!(state.keeping, Some(Slot::Named("reel ends".to_owned())));
    }

    #[test]
    fn the_machine_can_be_named_and_unnamed() {
        let mut state = specimen::showing(specimen::reading(0.0));
        let _ = state.act(Action::Type(EntryFor::Machine));
        type_text(&mut state, "bench deck 3");
        let _ = state.act(Action::Accept);
        assert_eq!(state.machine.as_deref(), Some("bench deck 3"));
        let _ = state.act(Action::Type(EntryFor::Machine));
        let _ = state.act(Action::EraseAll);
        let _ = state.act(Action::Accept);
        assert_eq!(state.machine, None);
    }

    #[test]
    fn a_supply_voltage_is_typed_and_goes_with_what_is_kept() {
        let mut state = specimen::showing(specimen::reading(0.0));
        for (typed, taken) in [("2,9 V", Some(2.9)), ("6v", Some(6.0)), ("", None)] {
            let _ = state.act(Action::Type(EntryFor::Supply));
            let _ = state.act(Action::EraseAll);
            type_text(&mut state, typed);
            let _ = state.act(Action::Accept);
            assert_eq!(state.supply_volts, taken, "{typed}");
        }
        state.supply_volts = Some(3.0);
        for wrong in ["-1", "much", "1e9", "NaN"] {
            let _ = state.act(Action::Type(EntryFor::Supply));
            let _ = state.act(Action::EraseAll);
            type_text(&mut state, wrong);
            let _ = state.act(Action::Accept);
            assert_eq!(state.supply_volts, Some(3.0), "{wrong}");
            assert!(state.message.as_deref().unwrap().contains("no voltage"));
        }
    }

    #[test]
    fn leaving_with_something_unsaved_is_asked_twice() {
        let mut state = unsaved();
        assert!(state.act(Action::Quit).is_empty());
        assert!(state.message.as_deref().unwrap().contains("not saved"));
        // Any other key takes the question back.
        let _ = state.act(Action::NextUnit);
        assert!(state.act(Action::Quit).is_empty());
        assert!(matches!(state.act(Action::Quit)[..], [Effect::Quit]));
        let effects = unsaved().act(Action::RetrySaving);
        assert!(matches!(effects[..], [Effect::Save(_)]));
    }

    #[test]
    fn leaving_while_something_is_kept_or_checked_is_asked_twice() {
        let mut state = specimen::showing(specimen::reading(0.0));
        let _ = state.act(Action::Keep(Slot::Before));
        assert!(state.act(Action::Quit).is_empty());
        assert!(state.message.as_deref().unwrap().contains("before"));
        assert!(matches!(state.act(Action::Quit)[..], [Effect::Quit]));
    }

    #[test]
    fn a_tone_that_is_chosen_is_asked_for_and_remembered() {
        let mut state = specimen::asking(-3.0);
        let effects = state.act(Action::ChooseTone(1));
        let [taken, other] = [3150.0, 3000.0].map(crate::units::Hertz);
        let fixed = Nominal::Fixed(taken);
        assert!(matches!(effects[..], [Effect::Ask(Request::Nominal(it))] if it == fixed));
        assert_eq!(state.conditions.nominal, fixed);
        // The other tone is no longer suggested once this one is confirmed.
        let mut reading = specimen::reading(-3.0);
        reading.signal.problems = vec![Problem::Ambiguous { taken, other }];
        let _ = state.take(specimen::live(2, reading));
        assert_eq!(state.problems().count(), 0);
    }

    #[test]
    fn the_wiper_is_only_worked_with_the_power_off() {
        let mut state = specimen::state(SourceKind::Rehearsal);
        let mut bench = BenchStatus {
            powered: true,
            trimmer: 0.5,
            strokes: 0,
        };
        state.bench = Some(bench);
        assert!(state.act(Action::CleanStroke).is_empty());
        assert!(state.message.as_deref().unwrap().contains("power off"));
        bench.powered = false;
        state.bench = Some(bench);
        let effects = state.act(Action::CleanStroke);
        let asked = |effects: &[Effect]| match effects {
            [Effect::Bench(command)] => Some(*command),
            _ => None,
        };
        assert_eq!(asked(&effects), Some(BenchCommand::CleanStroke));
        let effects = state.act(Action::Power);
        assert_eq!(asked(&effects), Some(BenchCommand::Power(true)));
    }

    #[test]
    fn a_band_of_ones_own_is_typed() {
        let mut state = specimen::state(SourceKind::Input);
        let _ = state.act(Action::Type(EntryFor::Tolerance));
        type_text(&mut state, "0.25");
        let effects = state.act(Action::Accept);
        assert!(
            matches!(effects[..], [Effect::Ask(Request::Tolerance(it))] if (it.0 - 0.25).abs() < 1e-12)
        );
        assert!((state.tolerance.half_width.0 - 0.25).abs() < 1e-12);
        let _ = state.act(Action::Type(EntryFor::Tolerance));
        type_text(&mut state, "wide");
        assert!(state.act(Action::Accept).is_empty());
        assert!(state.message.is_some());
        assert!((state.tolerance.half_width.0 - 0.25).abs() < 1e-12);
    }

    #[test]
    fn units_and_tolerances_go_round() {
        let mut state = specimen::state(SourceKind::Input);
        let (lead, tolerance) = (state.lead, state.tolerance);
        for _ in 0..3 {
            let _ = state.act(Action::NextUnit);
            let _ = state.act(Action::NextTolerance);
        }
        assert_eq!((state.lead, state.tolerance), (lead, tolerance));
        let _ = state.act(Action::NextUnit);
        assert_eq!(state.lead, Lead::Cents);
    }
}

//! What must hold for whole screens: of every size, in every state.

use std::sync::Arc;

use super::panels::help;
use super::specimen::{drawn, text};
use super::state::SMALLEST;
use super::state::earlier::EarlierJobs;
use super::state::job::Thing;
use super::state::overlay::Overlay;
use super::state::routine::Step;
use super::state::view::View;
use super::state::{Effect, Lead, ScreenState, Slot, SourceKind};
use super::{Action, EntryFor, keys, specimen};
use crate::audio::analysis::{LiveState, Request, SourceState};
use crate::audio::rehearsal_source::{BenchCommand, BenchStatus};
use crate::readings::{Advice, Guidance, Problem, Steadiness};
use crate::records::{Label, Snapshot};
use crate::units::{Decibels, Hertz, Percent, Seconds};
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

const SIZES: [(u16, u16); 9] = [
    (80, 24),
    (50, 14),
    (120, 40),
    (200, 60),
    (50, 60),
    (200, 14),
    (49, 13),
    (1, 1),
    (0, 0),
];

fn kept(state: &mut ScreenState, slot: Slot, deviation: f64, saved: bool) {
    let kept = specimen::kept(slot, deviation);
    if !saved {
        let _ = state.entrust(Thing::Snapshot(Box::new(kept.clone())));
        state.saving_has_ended();
    }
    state.kept.push(kept);
}

fn rehearsing() -> ScreenState {
    let mut state = specimen::state(SourceKind::Rehearsal);
    let _ = state.take(specimen::live(1, specimen::reading(-2.87)));
    state.bench = Some(BenchStatus {
        powered: true,
        trimmer: 0.4,
        strokes: 0,
    });
    state
}

fn with_source(mut state: ScreenState, source: SourceState) -> ScreenState {
    let mut live = LiveState::clone(&state.live);
    live.source = source;
    state.live = Arc::new(live);
    state
}

/// States of every kind, for what must hold always.
fn all_kinds() -> Vec<ScreenState> {
    let mut busy = rehearsing();
    busy.look.unicode = false;
    kept(&mut busy, Slot::Before, -2.87, true);
    kept(&mut busy, Slot::After, 0.02, false);
    kept(&mut busy, Slot::Named("gerät".to_owned()), 0.02, true);
    busy.keeping = Some(Slot::After);
    let _ = busy.act(Action::Type(EntryFor::Note));
    let mut clipped = specimen::reading(12.34);
    clipped.signal.since_clip = Some(Seconds(0.5));
    clipped.signal.problems = vec![Problem::Clipped];
    let mut helped = rehearsing();
    helped.overlay = Some(Overlay::Help(0));
    let mut budgeted = rehearsing();
    budgeted.overlay = Some(Overlay::Budget);
    let lost = SourceState::Lost {
        name: "Line In".to_owned(),
        reason: "the device is gone".to_owned(),
    };
    let mut with_job = specimen::showing(specimen::reading(-0.3));
    with_job.machine = Some("deck 4".to_owned());
    let snapshots = || {
        let kept = |label| Snapshot::new(label, "Line In", specimen::measurement(0.1));
        vec![kept(Label::Before), kept(Label::After)]
    };
    with_job.take_earlier(EarlierJobs {
        machine: with_job.machine.clone(),
        jobs: vec![specimen::job_of("deck 4", snapshots())],
    });
    with_job.show_job(specimen::job_of("deck 4", snapshots()));
    let mut on_job_page = with_job.clone();
    on_job_page.overlay = Some(Overlay::Job(3));
    let mut supplied = rehearsing();
    let _ = supplied.act(Action::Supply);
    vec![
        with_job,
        on_job_page,
        supplied,
        specimen::state(SourceKind::Input),
        specimen::showing(specimen::silence()),
        specimen::showing(specimen::reading(-0.3)),
        specimen::showing(clipped),
        with_source(specimen::showing(specimen::reading(0.0)), lost),
        rehearsing(),
        helped,
        budgeted,
        busy,
    ]
}

#[test]
fn every_state_is_drawn_on_every_size() {
    for state in all_kinds() {
        for size in SIZES {
            let rows = drawn(&state, size);
            let used = rows.iter().filter(|row| !row.trim().is_empty()).count();
            let least = usize::from(size.1).min(if size < SMALLEST { 1 } else { 6 });
            assert!(used >= least, "{size:?}:\n{}", rows.join("\n"));
        }
    }
}

#[test]
fn plain_characters_are_plain_everywhere() {
    for mut state in all_kinds() {
        state.look.unicode = false;
        state.machine = Some("Gerät ♯3".to_owned());
        for size in SIZES {
            let text = text(&state, size);
            assert!(text.is_ascii(), "{text}");
        }
    }
}

#[test]
fn what_matters_stays_on_the_smallest_screen() {
    let mut reading = specimen::reading(-1.23);
    reading.signal.problems = vec![Problem::LowSnr(Decibels(12.0))];
    let text = text(&specimen::showing(reading), SMALLEST);
    for needed in [
        "SLOW",
        "OUT BY THIS TAPE",
        "settled",
        "┼",
        "12 dB below",
        "quit",
    ] {
        assert!(text.contains(needed), "{needed} is missing in\n{text}");
    }
}

mod everywhere;
mod places;

/// Both tones with their keys, whatever the size of the window; and neither a
/// verdict nor a way before one is chosen.
#[test]
fn the_question_which_tone_is_whole_on_every_size() {
    let state = specimen::asking(-3.0);
    for size in SIZES.into_iter().chain([(60, 18), SMALLEST]) {
        if size.0 < SMALLEST.0 || size.1 < SMALLEST.1 {
            continue;
        }
        let text = text(&state, size);
        for needed in ["WHICH TONE?", "1: 3000 Hz", "2: 3150 Hz"] {
            assert!(
                text.contains(needed),
                "{needed} is missing at {size:?}\n{text}"
            );
        }
        for early in ["OUT ", "RIGHT", "TOLERANCE"] {
            assert!(!text.contains(early), "{early} at {size:?}\n{text}");
        }
    }
}

#[test]
fn the_usual_screen_has_every_panel() {
    let mut state = specimen::showing(specimen::reading(-1.23));
    state.routine.go_to(Step::WarmUp);
    let text = text(&state, (80, 24));
    for needed in [
        "Line In",
        "3150 Hz",
        "±0.020 %",
        "SLOW -3 %",
        "+3 % FAST",
        "trend",
        "drift",
        "wow",
        "flutter",
        "weighted 2-sigma 0.121",
        "quasi-peak 0.142",
        "SNR 58 dB",
        "before",
        "after",
    ] {
        assert!(text.contains(needed), "{needed} is missing in\n{text}");
    }
    // What is zero, usual or not known yet takes no room.
    for idle in ["dropouts", "samples lost", "gaps", "channel", "not yet"] {
        assert!(!text.contains(idle), "{idle} in\n{text}");
    }
    assert!(!text.contains("SIMULATED"));
}

/// At every step, on every size that is large enough.
fn everywhere(state: &mut ScreenState, check: impl Fn(Step, (u16, u16), &str)) {
    for step in Step::ALL {
        state.routine.go_to(step);
        for size in SIZES {
            if size.0 >= SMALLEST.0 && size.1 >= SMALLEST.1 {
                check(step, size, &text(state, size));
            }
        }
    }
}

#[test]
fn clipping_is_told_at_every_step() {
    let mut reading = specimen::reading(-1.23);
    reading.signal.since_clip = Some(Seconds(0.5));
    reading.signal.problems = vec![Problem::Clipped];
    everywhere(&mut specimen::showing(reading), |step, size, text| {
        let told = text.to_lowercase().contains("clip");
        assert!(told, "{step:?} {size:?}\n{text}");
    });
}

#[test]
fn lost_samples_are_told_wherever_there_is_a_row_for_them() {
    let mut reading = specimen::reading(-1.23);
    reading.signal.gaps = 2;
    let mut live = LiveState::clone(&specimen::live(1, reading));
    live.overrun_frames = 480;
    let mut state = specimen::state(SourceKind::Input);
    let _ = state.take(Arc::new(live));
    everywhere(&mut state, |step, size, text| {
        // In fourteen rows the level is set first, and the caution of cleaning
        // is whole.
        if size.1 > 14 || !matches!(step, Step::Connect | Step::Signal | Step::Clean) {
            let told = text.contains("samples lost 480");
            assert!(told, "{step:?} {size:?}\n{text}");
        }
    });
}

#[test]
fn where_silence_is_wanted_the_step_says_what_to_do() {
    let mut state = specimen::showing(specimen::silence());
    for (step, words) in [(Step::Clean, "Power off"), (Step::Along, "Wind")] {
        state.routine.go_to(step);
        for size in [(80, 24), (50, 14), (120, 40)] {
            let text = text(&state, size);
            assert!(text.contains(words), "{step:?} {size:?}\n{text}");
            assert!(!text.contains("no signal:"), "{step:?} {size:?}\n{text}");
        }
    }
    state.routine.go_to(Step::Trim);
    assert!(text(&state, (80, 24)).contains("no signal:"));
}

#[test]
fn simulated_stands_in_the_line_of_the_digits() {
    for size in [(80, 24), (50, 14), (120, 40), (200, 60)] {
        let rows = drawn(&rehearsing(), size);
        let row = rows.iter().find(|row| row.contains("SIMULATED"));
        let row = row.unwrap_or_else(|| panic!("missing at {size:?}"));
        assert!(row.contains('█'), "{size:?}: {row}");
    }
}

#[test]
fn figures_that_are_no_longer_live_say_so() {
    let lost = SourceState::Lost {
        name: "Line In".to_owned(),
        reason: "the device is gone".to_owned(),
    };
    let late = SourceState::Late {
        name: "Line In".to_owned(),
    };
    for (source, words) in [(lost, "INPUT LOST"), (late, "LATE: nothing new")] {
        let state = with_source(specimen::showing(specimen::reading(0.0)), source);
        for size in [(80, 24), (50, 14), (120, 40)] {
            let text = text(&state, size);
            assert!(text.contains("NOT LIVE"), "{text}");
            assert!(text.contains(words), "{text}");
        }
    }
}

#[test]
fn an_unknown_tape_is_never_in_tolerance() {
    let state = specimen::showing(specimen::reading(0.1));
    let text = text(&state, (80, 24));
    assert!(text.contains("RIGHT BY THIS TAPE"), "{text}");
    assert!(!text.contains("IN TOLERANCE"), "{text}");
}

#[test]
fn what_is_not_yet_valid_says_when() {
    let mut reading = specimen::silence();
    reading.flutter.valid_in = Some(Seconds(3.2));
    let text = text(&specimen::showing(reading), (80, 24));
    assert!(text.contains("not yet, 4 s"), "{text}");
    assert!(text.contains("NO READING"), "{text}");
    // Both ends of the scale, and neither as a verdict.
    let count = |word| text.matches(word).count();
    assert_eq!((count("SLOW"), count("FAST")), (1, 1), "{text}");
}

#[test]
fn a_weighted_figure_of_a_low_tone_states_its_band() {
    let mut reading = specimen::reading(0.02);
    reading.flutter.band_limit = Some(Hertz(189.0));
    let mut state = specimen::showing(reading);
    state.routine.go_to(Step::Trim);
    for size in [(120, 40), (80, 24), (50, 14)] {
        let text = text(&state, size);
        let row = text.lines().find(|row| row.contains("weighted"));
        assert!(row.is_some_and(|row| row.contains("<189 Hz")), "{text}");
    }
}

#[test]
fn before_and_after_stand_side_by_side() {
    let mut state = specimen::showing(specimen::reading(0.02));
    kept(&mut state, Slot::Before, -2.87, true);
    kept(&mut state, Slot::After, 0.02, true);
    state.routine.go_to(Step::After);
    let text = text(&state, (80, 24));
    let weighted = text.lines().find(|row| row.starts_with("weighted"));
    let weighted = weighted.unwrap_or_default();
    assert!(weighted.contains('█'), "the bar is gone: {weighted}");
    assert!(weighted.ends_with("0.121   0.121"), "{weighted}");
    let result = "before -2.870 ±0.020 % → after +0.020 ±0.020 %";
    assert!(text.contains(result), "{text}");
    // With the step done it is what is said first, also beside other news.
    state.routine.tick(Step::After);
    state.message = Some("kept after, saved in a folder".to_owned());
    for size in [(80, 24), (50, 14)] {
        let rows = drawn(&state, size);
        let place = |what: &str| rows.iter().position(|row| row.contains(what));
        assert!(place(result).is_some(), "{}", rows.join("\n"));
        assert!(place(result) < place("kept after"), "{size:?}");
    }
}

#[test]
fn each_unit_can_lead() {
    let mut state = specimen::showing(specimen::reading(-1.2317));
    for (lead, other) in [
        (Lead::Percent, "3111.2 Hz"),
        (Lead::Cents, "-1.23 %"),
        (Lead::Hertz, "-1.23 %"),
    ] {
        state.lead = lead;
        let text = text(&state, (80, 24));
        assert!(text.contains(other), "{other} with {lead:?}\n{text}");
    }
}

#[test]
fn moving_is_said() {
    let mut reading = specimen::reading(-1.0);
    let speed = reading.speed.as_mut().unwrap();
    speed.steadiness = Steadiness::Moving;
    speed.uncertainty = None;
    speed.needle = Percent(-14.0);
    let text = text(&specimen::showing(reading), (50, 14));
    assert!(
        text.contains("MOVING") && text.contains("± not yet"),
        "{text}"
    );
    assert!(text.contains("◀◀"), "{text}");
}

#[test]
fn the_help_is_whole_on_every_size() {
    let mut state = rehearsing();
    for size in [(50, 14), (80, 24)] {
        state.size = size;
        let mut all = String::new();
        for page in 0..help::pages(&state) {
            state.overlay = Some(Overlay::Help(page));
            all += &text(&state, size);
        }
        for needed in [
            "keep a snapshot before",
            "Ctrl-Z",
            "Cautions",
            "lowest level",
        ] {
            assert!(all.contains(needed), "{needed} is missing at {size:?}");
        }
    }
}

#[test]
fn the_budget_of_the_uncertainty_is_shown_line_by_line() {
    let mut state = specimen::showing(specimen::reading(-3.0));
    let _ = state.act(Action::Budget);
    for size in [(50, 14), (80, 24)] {
        let text = text(&state, size);
        for needed in [
            "wow and noise",
            "±100 ppm",
            "±0.0100 %",
            "not known",
            "together",
        ] {
            assert!(text.contains(needed), "{needed} is missing:\n{text}");
        }
    }
    let _ = state.act(Action::Uncover);
    assert!(!text(&state, (80, 24)).contains("together"));
}

/// At the trimmer, with guidance.
fn trimming(news: bool) -> ScreenState {
    let mut reading = specimen::reading(-2.87);
    reading.guidance = Guidance {
        advice: Some(Advice::Eighths(-3.0)),
        an_eighth: Some((Percent(-0.9), Percent(0.3))),
        ..Guidance::default()
    };
    let mut state = specimen::state(SourceKind::Rehearsal);
    let _ = state.take(specimen::live(1, reading));
    state.routine.go_to(Step::Trim);
    state.message = news.then(|| "something that was just done, over more than a row".repeat(2));
    state
}

#[test]
fn the_caution_keeps_its_row_where_less_important_things_have_theirs() {
    for news in [false, true] {
        let state = trimming(news);
        let text = text(&state, (80, 24));
        for needed in ["Careful: Insulated tool", "about 3 eighths", "✓", "┼"] {
            assert!(text.contains(needed), "{needed} is missing:\n{text}");
        }
    }
}

#[test]
fn guidance_is_not_cut_on_the_smallest_screen() {
    for news in [false, true] {
        let text = text(&trimming(news), SMALLEST);
        let told = text.lines().find(|row| row.contains("3 eighths"));
        let told = told.map(str::trim_end);
        assert_eq!(told, Some("turn about 3 eighths anticlockwise"), "{text}");
        assert!(news || text.contains("Careful: Insulated tool"), "{text}");
    }
}

#[test]
fn a_small_window_asks_for_a_larger_one() {
    let text = text(&specimen::state(SourceKind::Input), (49, 13));
    assert!(
        text.contains("49 by 13") && text.contains("50 by 14"),
        "{text}"
    );
}

/// `cargo test show_the_screens -- --ignored --nocapture` for the eye.
#[test]
#[ignore = "shows, proves nothing"]
fn show_the_screens() {
    for state in all_kinds() {
        for size in [(80, 24), (50, 14), (120, 40)] {
            println!("{size:?}\n{}\n", text(&state, size));
        }
    }
}

/// Presses keys as a hand does: what is drawn decides what they mean.
fn press(state: &mut ScreenState, keys: &[KeyCode]) -> Vec<Effect> {
    let mut effects = Vec::new();
    for code in keys {
        let event = KeyEvent::new(*code, KeyModifiers::NONE);
        effects.extend(super::press(event, state).into_iter().flatten());
    }
    effects
}

#[test]
fn j_begins_a_sweep_that_goes_out_and_back_twice_and_the_help_says_so() {
    let mut state = rehearsing();
    let help = keys::BINDINGS.iter().find(|key| key.shown == "j");
    let help = help.expect("it has a line");
    assert!(help.long.contains("out and back twice"), "{}", help.long);
    let effects = press(&mut state, &[KeyCode::Char('j')]);
    let begins = matches!(
        effects[..],
        [
            Effect::Ask(Request::BeginSweep),
            Effect::Bench(BenchCommand::Sweep)
        ]
    );
    assert!(begins, "{effects:?}");
}

#[test]
fn a_key_behind_the_help_does_not_change_the_reference() {
    use KeyCode::{Char, Down, Esc};
    for over in ['?', 'i', 's'] {
        let mut state = rehearsing();
        let effects = press(&mut state, &[Char('0'), Down, Char(over), Char(' '), Esc]);
        assert!(effects.is_empty(), "{over}: {effects:?}");
    }
}

#[test]
fn a_key_behind_the_help_does_nothing_unseen() {
    use KeyCode::Char;
    for key in "tfpgbawjky ".chars() {
        let mut state = rehearsing();
        let band = state.tolerance;
        let effects = press(&mut state, &[Char('?'), Char(key)]);
        assert!(effects.is_empty(), "{key}: {effects:?}");
        assert_eq!(state.tolerance, band, "{key}");
        assert!(!state.routine.has_no_trimmer(), "{key}");
        assert_eq!((&state.keeping, state.view), (&None, View::Bench), "{key}");
    }
}

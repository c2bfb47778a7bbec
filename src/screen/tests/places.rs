//! Where things stand: what matters is there on every size, and stays where it
//! is when something else comes or goes.

use super::{drawn, kept, rehearsing, text, trimming};
use crate::readings::{Advice, Guidance, Problem};
use crate::records::{About, Label, Snapshot};
use crate::screen::state::earlier::EarlierJobs;
use crate::screen::state::overlay::Overlay;
use crate::screen::state::routine::Step;
use crate::screen::state::{ScreenState, Slot, SourceKind};
use crate::screen::{Action, specimen};
use crate::units::{Decibels, Percent};

/// Every height of window from the smallest on until there is room for all, and
/// the widths around which something is laid out otherwise.
fn sizes() -> impl Iterator<Item = (u16, u16)> {
    let widths = [
        50, 59, 60, 67, 68, 72, 78, 79, 80, 100, 115, 116, 120, 150, 178, 200, 300,
    ];
    widths.into_iter().flat_map(|width| {
        (14..=44)
            .chain([50, 60, 100])
            .map(move |height| (width, height))
    })
}

fn with_trouble(mut state: ScreenState) -> ScreenState {
    let mut reading = state.reading().expect("one").clone();
    reading.signal.problems = vec![Problem::LowSnr(Decibels(12.0))];
    let _ = state.take(specimen::live(2, reading));
    state
}

/// Plain, with news, with a trouble, with both.
fn with_and_without(state: &ScreenState) -> Vec<ScreenState> {
    let mut news = state.clone();
    news.message = Some("something that was just done, over more than a row ".repeat(2));
    vec![
        state.clone(),
        with_trouble(state.clone()),
        with_trouble(news.clone()),
        news,
    ]
}

#[test]
fn which_way_to_turn_is_told_on_every_size() {
    for state in with_and_without(&trimming(false)) {
        for size in sizes() {
            let text = text(&state, size);
            let told = "turn about 3 eighths anticlockwise";
            assert!(text.contains(told), "missing at {size:?}:\n{text}");
            assert!(text.contains("██"), "the digits are gone at {size:?}");
        }
    }
}

/// The longest that is said of a turn keeps its sense in the narrowest window.
#[test]
fn no_advice_is_cut_in_the_narrowest_window() {
    let advices = [
        Advice::Leave,
        Advice::Wait,
        Advice::AsNear,
        Advice::TryALittle,
        Advice::Eighths(-12.0),
        Advice::OfTheLast(2.0),
        Advice::OfTheLast(-0.3),
        Advice::OfTheLast(-20.0),
    ];
    for advice in advices {
        let mut reading = specimen::reading(-2.87);
        reading.guidance = Guidance {
            advice: Some(advice),
            last_move: Some(Percent(-1.5)),
            an_eighth: Some((Percent(-0.9), Percent(0.3))),
            forgot: true,
            ..Guidance::default()
        };
        let mut state = trimming(false);
        let _ = state.take(specimen::live(2, reading));
        let whole = state.guided().expect("advice");
        let first = whole.split([';', '(']).next().unwrap_or_default().trim();
        let text = text(&state, (50, 14));
        assert!(text.contains(first), "{first} is cut in\n{text}");
    }
}

/// The rows of the first screen in which something stands.
fn rows_of(state: &ScreenState, size: (u16, u16), what: &[&str]) -> Vec<Option<usize>> {
    let rows = drawn(state, size);
    what.iter()
        .map(|what| rows.iter().position(|row| row.contains(what)))
        .collect()
}

#[test]
fn what_is_looked_at_stays_where_it_is() {
    for (state, to_do) in [rehearsing(), trimming(false)]
        .into_iter()
        .zip(["OUT ", "turn about 3"])
    {
        let landmarks = ["OUT ", "┼", "SLOW -", "% FAST", "█", to_do];
        for size in sizes() {
            let mut places = with_and_without(&state);
            let mut keeping = state.clone();
            let _ = keeping.act(Action::Keep(Slot::Named("x".to_owned())));
            places.push(keeping);
            let first = rows_of(&state, size, &landmarks);
            assert!(!first.contains(&None), "{size:?}: {first:?}");
            for other in places {
                let now = rows_of(&other, size, &landmarks);
                assert_eq!(now, first, "{size:?}: {:?}", other.message);
            }
        }
    }
}

#[test]
fn the_marks_leave_the_scale_alone() {
    for hundredths in (-320..=320).step_by(7) {
        let deviation = f64::from(hundredths) / 100.0;
        let state = specimen::showing(specimen::reading(deviation));
        for size in [(80, 24), (50, 14), (120, 40)] {
            let rows = drawn(&state, size);
            let scale = rows.iter().find(|row| row.contains("SLOW -"));
            let scale = scale.unwrap_or_else(|| panic!("none at {deviation}"));
            assert!(!scale.contains(['▲', '◆', '█']), "{scale}");
            assert!(scale.contains("% FAST") && scale.contains(" 0 "), "{scale}");
        }
    }
}

#[test]
fn the_scale_of_the_needle_is_never_closer_than_two_bands() {
    for (band, labels) in [
        (1.0, "+2 %"),
        (0.5, "+1 %"),
        (0.25, "+0.5 %"),
        (0.1, "+0.3 %"),
    ] {
        let mut state = specimen::state(SourceKind::Input);
        state.tolerance = format!("{band}").parse().expect("a band");
        for sequence in 1..200 {
            let mut reading = specimen::reading(0.01);
            reading.at.0 += f64::from(sequence as u32);
            reading.speed.as_mut().expect("one").needle =
                Percent(if band < 0.2 { 0.15 } else { 0.02 });
            let _ = state.take(specimen::live(sequence, reading));
        }
        let text = text(&state, (80, 24));
        assert!(text.contains(labels), "{band}:\n{text}");
    }
}

#[test]
fn right_is_what_is_read_from_a_metre_away() {
    // The letters of both words in full cells.
    let letters = |word: &str| {
        let mut state = specimen::showing(specimen::reading(-3.0));
        state.tolerance = "5".parse().expect("a band");
        let right = text(&state, (80, 24));
        state.tolerance = "0.5".parse().expect("a band");
        let wrong = text(&state, (80, 24));
        if word == "RIGHT" { right } else { wrong }
    };
    // H in RIGHT, W in SLOW.
    assert!(letters("RIGHT").contains("█████ ██ ██  ██"));
    assert!(!letters("SLOW").contains("█████ ██ ██  ██"));
    let narrow = specimen::showing(specimen::reading(0.03));
    let narrow = text(&narrow, (50, 14));
    assert!(
        narrow.contains("RIGHT ") && !narrow.contains("█ FAST"),
        "{narrow}"
    );
}

/// The same tape on the machine that recorded it: neither slow nor fast, and it
/// says so in the large letters too.
#[test]
fn a_tape_of_this_machine_is_void_from_a_metre_away() {
    let mut state = specimen::showing(specimen::reading(-1.0));
    state.machine = Some("deck 2".to_owned());
    state.recorded_on = state.machine.clone();
    for size in [(80, 24), (50, 14)] {
        let text = text(&state, size);
        for needed in [
            "RECORDED ON THIS MACHINE",
            "no verdict",
            "recorded elsewhere",
        ] {
            assert!(text.contains(needed), "{needed}:\n{text}");
        }
        // V and O, or in plain letters where they have no room.
        let large = text.contains("██ ██ █████ ██ ████");
        assert!(large || text.contains("VOID"), "{text}");
    }
}

#[test]
fn a_figure_in_plain_letters_stands_apart_from_its_word() {
    let mut state = specimen::showing(specimen::reading(-1.94));
    let _ = state.act(Action::Contact);
    let text = text(&state, (50, 14));
    assert!(text.contains("-1.94 % SLOW"), "{text}");
}

#[test]
fn the_word_is_as_high_as_the_digits() {
    let state = specimen::showing(specimen::reading(-1.94));
    for (size, high) in [
        ((80, 24), 5),
        ((120, 40), 10),
        ((200, 60), 15),
        ((300, 90), 25),
    ] {
        let rows = drawn(&state, size);
        let in_word = |row: &&String| {
            let right: String = row.chars().skip(usize::from(size.0) / 2).collect();
            right.contains('█') && !right.contains(['═', '─', '·', 'L', 'R'])
        };
        assert_eq!(rows.iter().filter(in_word).count(), high, "{size:?}");
    }
}

#[test]
fn kept_figures_have_their_heads() {
    let mut state = rehearsing();
    kept(&mut state, Slot::Before, -2.87, true);
    state.routine.go_to(Step::After);
    for size in [(80, 24), (120, 40)] {
        let rows = drawn(&state, size);
        let drift = rows.iter().position(|row| row.starts_with("drift"));
        let heads = &rows[drift.expect("it is there") - 1];
        assert!(heads.contains("now"), "{heads}");
        assert!(heads.trim_end().ends_with("before   after"), "{heads}");
    }
}

#[test]
fn which_machine_recorded_the_tape_is_asked_in_one_row_below_any_warning() {
    let state = specimen::showing(specimen::reading(-1.0));
    let asked = "Which machine recorded this tape? Press 0";
    for size in [(50, 14), (80, 24), (120, 40)] {
        let rows = drawn(&state, size);
        let count = rows.iter().filter(|row| row.contains(asked)).count();
        assert_eq!(count, 1, "{size:?}\n{}", rows.join("\n"));
    }
    let rows = drawn(&with_trouble(state), (80, 24));
    let place = |what: &str| rows.iter().position(|row| row.contains(what));
    assert!(place("12 dB below") < place(asked));
    assert!(place("12 dB below").is_some());
    let mut rehearsal = rehearsing();
    rehearsal.message = None;
    assert!(!text(&rehearsal, (80, 24)).contains(asked));
}

#[test]
fn of_a_long_line_that_is_typed_the_end_is_seen() {
    let mut state = specimen::showing(specimen::reading(-1.0));
    let _ = state.act(Action::Type(crate::screen::EntryFor::Note));
    for letter in "a note far longer than the narrowest window is wide, THE END".chars() {
        let _ = state.act(Action::Letter(letter));
    }
    assert!(text(&state, (50, 14)).contains("THE END_"));
}

/// A machine that stood at this figure last time.
fn with_last_time(deviation: f64) -> ScreenState {
    let mut state = specimen::showing(specimen::reading(-0.3));
    state.machine = Some("deck 4".to_owned());
    let mut snapshot = Snapshot::new(Label::After, "Line In", specimen::measurement(deviation));
    snapshot.taken_at = "2025-11-03T12:00:00Z".parse().unwrap();
    state.take_earlier(EarlierJobs {
        machine: state.machine.clone(),
        jobs: vec![specimen::job_of("deck 4", vec![snapshot])],
    });
    state
}

#[test]
fn last_time_stands_faintly_behind_the_needle_and_says_what_it_is() {
    let state = with_last_time(0.4);
    for (size, words) in [
        ((80, 24), "╎ last time +0.40 %"),
        ((120, 40), "╎ last time +0.400 ±0.020 %"),
    ] {
        let rows = drawn(&state, size);
        let beside = rows
            .iter()
            .find(|row| row.contains("BY THIS TAPE"))
            .unwrap();
        assert!(beside.ends_with(words), "{beside}");
        let told = rows
            .iter()
            .filter(|row| row.contains("last time +0.400 ±0.020 %, weighted"));
        assert_eq!(told.count(), 1, "{}", rows.join("\n"));
        // In each row of the scale, and beside the verdict.
        let marks = rows.iter().filter(|row| row.contains('╎')).count();
        assert!(marks >= 3, "{}", rows.join("\n"));
    }
    // No mark where there is no room to say what it is.
    assert!(!text(&state, (50, 14)).contains('╎'));
    let mut plain = state.clone();
    plain.look.unicode = false;
    plain.look.colour = false;
    assert!(text(&plain, (80, 24)).contains(": last time"));
    // What is live has neither moved nor changed.
    let mut without = state.clone();
    without.take_earlier(EarlierJobs::default());
    let live = |state: &ScreenState| {
        let rows = drawn(state, (80, 24));
        let row = rows
            .iter()
            .position(|row| row.contains("BY THIS TAPE"))
            .unwrap();
        let beside = rows[row].split('╎').next().unwrap().trim_end().to_owned();
        (rows[..row].to_vec(), beside)
    };
    assert_eq!(live(&state), live(&without));
}

#[test]
fn the_head_of_the_page_says_once_that_all_is_simulated_and_a_note_has_a_colon() {
    let mut state = rehearsing();
    state.overlay = Some(Overlay::Job(0));
    for (name, head) in [
        (
            "2026-11-30 machine 7 (simulated)",
            "job 2026-11-30 machine 7 (simulated)",
        ),
        (
            "2026-11-30 machine 7 (simulated) no. 2",
            "job 2026-11-30 machine 7 (simulated) no. 2",
        ),
        ("repair 117", "job repair 117 (simulated)"),
    ] {
        state.show_job(specimen::job_saying(
            name,
            &[(About::OwnerNote, "plays fast")],
        ));
        let rows = drawn(&state, (80, 24));
        assert_eq!(rows[0].trim_end(), head);
        let told = rows.concat();
        assert!(told.contains("owner's note: plays fast"), "{told}");
    }
}

#[test]
fn the_page_of_the_job_shows_what_was_kept_and_which_can_be_opened() {
    let mut state = with_last_time(0.02);
    let before = Snapshot::new(Label::Before, "Line In", specimen::measurement(-1.2));
    state.show_job(specimen::job_of("deck 4", vec![before]));
    for size in [(80, 24), (50, 14)] {
        state.size = size;
        state.overlay = Some(Overlay::Job(0));
        let page = text(&state, size);
        for told in [
            "job job of deck 4",
            "machine deck 4",
            "before -1.200",
            "Earlier jobs of deck 4",
        ] {
            assert!(page.contains(told), "{told}:\n{page}");
        }
        assert!(!page.contains("Enter opens"), "{page}");
        let _ = state.act(Action::PageOn);
        let page = text(&state, size);
        assert!(page.contains("Enter opens this job"), "{page}");
        assert!(
            page.contains("> ") && page.contains("after +0.020"),
            "{page}"
        );
        // The mark stays on the list, whatever is pressed.
        for action in [
            Action::PageOn,
            Action::ChoiceDown,
            Action::PageBack,
            Action::ChoiceUp,
        ] {
            let _ = state.act(action);
            let rows = drawn(&state, size);
            assert_eq!(rows.iter().filter(|row| row.starts_with('>')).count(), 1);
        }
    }
}

//! Every state on every page in windows from the smallest to the largest: it is
//! drawn, the speed stays in sight, and so does the way out.

use crossterm::event::KeyCode::{self, Char};

use super::{all_kinds, press, text};
use crate::screen::specimen::{self, drawn};
use crate::screen::state::overlay::Overlay;
use crate::screen::state::routine::Step;
use crate::screen::state::view::View;
use crate::screen::state::{ScreenState, SourceKind};

/// A grid over all windows that are supported, its edges, and where something
/// begins to be laid out otherwise.
fn sizes() -> impl Iterator<Item = (u16, u16)> {
    let widths = [50, 68, 80, 116, 178, 300];
    let heights = [14, 18, 24, 40, 100];
    widths
        .into_iter()
        .flat_map(move |width| heights.map(|height| (width, height)))
}

/// The keys to every page and to whatever lies over one.
const PAGES: [&str; 20] = [
    "", "?", "w", "k", "3", "35", "38", "4", "4 ", "0", "9", "s", "i", "e", "m", "l", "n", "b",
    "y", // The question whether to leave, where something is not saved.
    "q",
];

fn on_page(state: &ScreenState, keys: &str) -> ScreenState {
    let mut state = state.clone();
    state.overlay = None;
    let keys: Vec<KeyCode> = keys.chars().map(Char).collect();
    let _ = press(&mut state, &keys);
    state
}

/// Where the speed stands, or why there is none: the rows below the title.
fn tells_the_speed(rows: &[String]) -> bool {
    let upper = rows[1..rows.len() / 2].join("\n");
    // A figure, with and without Unicode, none yet, or the reason.
    let signs = [
        "██", "##", "-- %", "SLOW", "FAST", "RIGHT", "READING", "VOID", "TONE",
    ];
    signs.iter().any(|sign| upper.contains(sign))
}

fn way_out(state: &ScreenState) -> &'static str {
    match state.overlay {
        None => "q quit",
        Some(Overlay::Entry(_)) => "Esc forgets",
        Some(_) => "Esc",
    }
}

#[test]
fn the_speed_and_the_way_out_are_in_sight_on_every_page_of_every_size() {
    let mut drawings = 0;
    for state in all_kinds() {
        for keys in PAGES {
            let state = on_page(&state, keys);
            for size in sizes() {
                let rows = drawn(&state, size);
                let page = || format!("{keys} at {size:?}:\n{}", rows.join("\n"));
                assert!(rows.concat().contains(way_out(&state)), "{}", page());
                if matches!(state.overlay, None | Some(Overlay::Entry(_))) {
                    assert!(tells_the_speed(&rows), "{}", page());
                }
                drawings += 1;
            }
        }
    }
    println!("{drawings} drawings");
}

#[test]
fn every_step_of_the_way_keeps_the_verdict_in_sight() {
    for mut state in all_kinds() {
        state.overlay = None;
        state.view = View::Bench;
        let verdict = state.verdict().words();
        for step in Step::ALL {
            state.routine.go_to(step);
            for size in sizes() {
                let text = text(&state, size);
                assert!(text.contains("q quit"), "{step:?} at {size:?}:\n{text}");
                assert!(text.contains(verdict), "{step:?} at {size:?}:\n{text}");
            }
        }
    }
}

#[test]
fn in_the_largest_window_the_needle_is_where_its_scale_says() {
    for tenths in -29..=29 {
        let needle = f64::from(tenths) / 10.0;
        let mut reading = specimen::reading(needle);
        reading.speed.as_mut().expect("one").needle.0 = needle;
        let mut state = specimen::state(SourceKind::Input);
        let _ = state.take(specimen::live(1, reading));
        let rows = drawn(&state, (300, 100));
        let at = rows.iter().position(|row| row.starts_with("SLOW -"));
        let at = at.unwrap_or_else(|| panic!("no scale:\n{}", rows.join("\n")));
        let full = rows[at].split_whitespace().nth(1).expect("its end");
        let full = -full.parse::<f64>().expect("a figure");
        // Above the scale stand its tracks, the marks in the lowest.
        let column = rows[at - 2].chars().position(|it| it == '█');
        let column = column.expect("a needle") as f64;
        let expected = 149.0 * (1.0 + needle / full);
        assert!(
            (column - expected).abs() <= 1.0,
            "{needle} of {full}: {column}"
        );
        let used = rows.iter().filter(|row| !row.trim().is_empty()).count();
        assert!(used > 50, "{used} rows of 100 are used");
    }
}

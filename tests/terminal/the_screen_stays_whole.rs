//! Windows are drawn larger and smaller while keys are pressed and the data run:
//! the program lives on, needs no more memory, and what stands there afterwards
//! is what a fresh draw shows.

use std::thread;
use std::time::Duration;

use rustix::process::Pid;

use crate::support::dice::Dice;
use crate::support::memory;
use crate::support::program::{tone, write_wav};
use crate::support::window::Window;

/// Sizes of the storm while the simulated machine runs.
const SIZES: usize = 300;

/// Those that no screen fits in, and those that have one side only.
const ODD: [(u16, u16); 8] = [
    (1, 1),
    (0, 0),
    (10, 3),
    (49, 14),
    (50, 13),
    (300, 1),
    (1, 100),
    (0, 24),
];

/// All but those that quit, interrupt or stop.
const KEYS: [&str; 34] = [
    "?", "3", "4", "5", "6", "7", "8", "9", "0", "s", "i", "w", "k", "j", "o", "b", "a", "n", "m",
    "e", "l", "v", "y", "t", "u", "g", "f", "d", "p", "c", "Space", "Tab", "Escape", "\r",
];

fn some_size(dice: &mut Dice) -> (u16, u16) {
    if dice.chance(0.2) {
        return dice.one_of(&ODD);
    }
    (50 + dice.below(251) as u16, 14 + dice.below(87) as u16)
}

/// The most memory that it ever held, in MB.
fn peak_mb(process: Pid) -> f64 {
    let kib = memory::most_kib(&process.as_raw_nonzero().to_string());
    kib.expect("it runs") as f64 / 1000.0
}

fn practise(window: &Window) -> Pid {
    let process = window.start("", "practise");
    window.wait_for("tone found");
    process
}

#[test]
fn through_a_storm_of_sizes_and_keys_while_the_data_run() {
    let window = Window::open();
    let process = practise(&window);
    let mut dice = Dice::new(21);
    let mut storm = |count: usize| {
        for _ in 0..count {
            let (columns, rows) = some_size(&mut dice);
            window.resize(columns, rows);
            window.press(dice.one_of(&KEYS));
            thread::sleep(Duration::from_secs_f64(dice.between(0.0, 0.03)));
        }
    };
    // The largest is drawn once, and every page.
    window.resize(300, 100);
    window.wait_for("SIMULATED");
    storm(SIZES / 3);
    let before = peak_mb(process);
    storm(SIZES - SIZES / 3);
    let after = peak_mb(process);
    assert!(after < before + 10.0, "{before} MB grew to {after} MB");
    // Out of whatever was being typed or lay over the screen, then to a page on
    // which nothing moves.
    window.resize(117, 33);
    let help = "tapewright help, page 1";
    for _ in 0..30 {
        if window.screen().contains(help) {
            break;
        }
        window.press("Escape");
        thread::sleep(Duration::from_millis(300));
        window.press("?");
        thread::sleep(Duration::from_millis(700));
    }
    window.wait_for(help);
    let fresh = Window::of(117, 33);
    let _ = practise(&fresh);
    fresh.press("?");
    fresh.wait_for(help);
    assert_eq!(window.screen(), fresh.screen());
    assert!(window.picture() == fresh.picture(), "other colours");
    // Whatever is under way then.
    window.press("C-c");
    assert_eq!(window.last_status(), 130);
    window.assert_given_back();
    println!("{SIZES} sizes, {before:.1} MB, then {after:.1} MB");
}

/// Pages of a recording that has ended: nothing on them moves.
const STILL: [(&str, &str); 10] = [
    ("", "? help"),
    ("?", "tapewright help"),
    ("w", "wiper check"),
    ("k", "contact check"),
    ("3", "what wavers"),
    ("4", "supply run"),
    ("0", "what does the tape carry?"),
    ("9", "no job yet"),
    ("s", "step 1 of"),
    ("i", "Esc back"),
];

/// Sizes that each of them is drawn in.
const EACH: usize = 3;

#[test]
fn every_page_after_every_change_of_size_is_as_if_drawn_anew() {
    let window = Window::of(80, 24);
    let path = window.home().join("tone.wav");
    write_wav(&path, 48_000, 1, tone(48_000, 30.0, 3118.5, |_| 1.0));
    let mut dice = Dice::new(22);
    for (keys, sign) in STILL {
        window.resize(80, 24);
        window.type_line("clear");
        let _ = window.start("", "watch --fast --reference 3150 --file tone.wav");
        window.wait_for("has ended");
        window.press(keys);
        window.wait_for(sign);
        for _ in 0..EACH {
            let by = [some_size(&mut dice), some_size(&mut dice)];
            let to = (50 + dice.below(251) as u16, 14 + dice.below(87) as u16);
            // A busy computer draws late.
            let is_whole = [100, 400, 2000].into_iter().any(|quiet_ms| {
                let quiet = Duration::from_millis(quiet_ms);
                for (columns, rows) in by.into_iter().chain([to]) {
                    window.resize(columns, rows);
                }
                window.settle(quiet);
                let drawn = window.picture();
                window.scribble();
                window.press("C-l");
                window.settle(quiet);
                let anew = window.picture();
                let other = drawn.iter().zip(&anew).find(|(was, is)| was != is);
                println!("{keys} at {to:?}, after {quiet_ms} ms: {other:?}");
                drawn == anew
            });
            assert!(is_whole, "{keys} at {to:?} by {by:?}:\n{}", window.screen());
            assert!(window.screen().contains(sign), "{}", window.screen());
        }
        window.press("C-c");
        assert_eq!(window.last_status(), 130);
    }
}

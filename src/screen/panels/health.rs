//! Signal health, always visible: level of each channel with clip hold, the
//! tone, noise, and whatever was lost on the way.

use crate::readings::{ChannelUsed, ClockSource, Problem, Reading, SignalHealth};
use crate::screen::pen::{Pen, width};
use crate::screen::references;
use crate::screen::state::ScreenState;
use crate::screen::words::{channel, clock_in_force, level};
use crate::units::Decibels;

/// Rows that show everything: meters, then words.
pub(in crate::screen) const ROWS: u16 = 2;

/// The quiet end of the meters.
const FLOOR: Decibels = Decibels(-60.0);

/// How long CLIP is held.
const CLIP_HOLD_S: f64 = 3.0;

pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let Some(reading) = state.reading() else {
        pen.text(0, 0, "signal: none yet", state.look.faint());
        return;
    };
    if pen.height() >= ROWS {
        draw_meters(state, &reading.signal, pen);
        draw_words(state, reading, pen, 1);
    } else {
        draw_words(state, reading, pen, 0);
    }
}

fn is_clipping(signal: &SignalHealth) -> bool {
    signal.since_clip.is_some_and(|since| since.0 < CLIP_HOLD_S)
}

fn draw_meters(state: &ScreenState, signal: &SignalHealth, pen: &mut Pen) {
    let channels = signal.input_level.len().clamp(1, 2) as u16;
    let each = pen.width() / channels;
    let names: &[&str] = if channels == 1 { &["M"] } else { &["L", "R"] };
    for (at, name) in (0u16..).zip(names) {
        let place = usize::from(at);
        let rms = signal.input_level.get(place).copied();
        let peak = signal.input_peak.get(place).copied();
        if let Some(rms) = rms {
            let left = at * each;
            draw_meter(
                state,
                pen,
                (left, each),
                name,
                (rms, peak),
                is_clipping(signal),
            );
        }
    }
}

fn draw_meter(
    state: &ScreenState,
    pen: &mut Pen,
    (left, room): (u16, u16),
    name: &str,
    (rms, peak): (Decibels, Option<Decibels>),
    clipping: bool,
) {
    let look = state.look;
    // Name, bar, figure "-12.1 dB", clip mark.
    let columns = room.saturating_sub(2 + 10 + 6);
    let x = pen.text(left, 0, name, look.faint()) + 1;
    let part = |level: Decibels| ((level.0 - FLOOR.0) / -FLOOR.0).clamp(0.0, 1.0);
    let filled = (part(rms) * f64::from(columns)).round() as u16;
    pen.text(x, 0, &"·".repeat(usize::from(columns)), look.faint());
    let style = if state.is_live() {
        look.accent()
    } else {
        look.faint()
    };
    pen.text(x, 0, &"█".repeat(usize::from(filled)), style);
    if let Some(peak) = peak.filter(|peak| peak.0 > FLOOR.0) {
        let at = (part(peak) * f64::from(columns)).round() as u16;
        pen.text(x + at.min(columns.saturating_sub(1)), 0, "│", look.strong());
    }
    pen.text(x + columns + 1, 0, &level(rms), look.strong());
    if clipping {
        pen.text(left + room.saturating_sub(6), 0, "CLIP", look.badge());
    }
}

fn draw_words(state: &ScreenState, reading: &Reading, pen: &mut Pen, y: u16) {
    let look = state.look;
    let plain = if state.is_live() {
        look.strong()
    } else {
        look.faint()
    };
    let mut x = 0;
    for (text, alarming) in facts(state, reading, y == 0) {
        let gap = if x == 0 { 0 } else { 2 };
        if x + gap + width(&text) > pen.width() {
            break;
        }
        let style = if alarming { look.alarm() } else { plain };
        x = pen.text(x + gap, y, &text, style);
    }
}

/// Words with whether they are a trouble; the most important first.
fn facts(state: &ScreenState, reading: &Reading, alone: bool) -> Vec<(String, bool)> {
    let signal = &reading.signal;
    let mut facts = if state.is_switched_off() {
        vec![("power off".to_owned(), false)]
    } else {
        vec![references::short(reading)]
    };
    if alone {
        if is_clipping(signal) {
            facts.push(("CLIP".to_owned(), true));
        }
        let loudest = signal.input_level.iter().map(|it| it.0).reduce(f64::max);
        facts.extend(loudest.map(|loudest| (level(Decibels(loudest)), false)));
    }
    facts.extend(
        signal
            .snr
            .map(|snr| (format!("SNR {:.0} dB", snr.0), false)),
    );
    let too_many = |problem: &Problem| matches!(problem, Problem::Dropouts(_));
    let dropouts = format!("dropouts {}", state.dropouts());
    facts.push((dropouts, state.problems().any(too_many)));
    let lost = [
        ("overrun", state.live.overrun_frames),
        ("gaps", signal.gaps),
    ];
    let lost = lost.iter().filter(|(_, count)| *count > 0);
    facts.extend(lost.map(|(what, count)| (format!("{what} {count}"), true)));
    let used = match (alone, signal.channel) {
        (true, ChannelUsed::Both) => "L+R",
        (true, ChannelUsed::Left) => "L only",
        (true, ChannelUsed::Right) => "R only",
        (_, used) => channel(used),
    };
    facts.push((used.to_owned(), false));
    if state.conditions.clock.source != ClockSource::Default {
        facts.push((clock_in_force(state.look, &state.conditions.clock), false));
    }
    if let Some(since) = signal.since_clip.filter(|_| !is_clipping(signal)) {
        facts.push((format!("clipped {:.0} s ago", since.0), true));
    }
    facts
}

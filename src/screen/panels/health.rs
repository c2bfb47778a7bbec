//! The signal and the figures: the level of each channel with clip hold, and
//! what is known and not as it should be anyway, in words.

use ratatui_core::style::Style;

use super::bars;
use crate::readings::{ChannelUsed, ClockSource, Problem, Reading, ReferenceKind, SignalHealth};
use crate::references::evidence::is_unusual;
use crate::references::parts::Naming;
use crate::screen::pen::{Pen, width};
use crate::screen::references;
use crate::screen::state::{Lead, ScreenState};
use crate::screen::words::{channel, clock_in_force, level, signed, with_uncertainty};
use crate::units::Decibels;

/// Most rows of words.
pub(in crate::screen) const MOST_ROWS: u16 = 2;

/// Columns from which on figures have their ±, and it is said that the tone
/// is there.
const ROOMY: u16 = 70;

/// The quiet end of the meters.
const FLOOR: Decibels = Decibels(-60.0);

/// How long CLIP is held.
const CLIP_HOLD_S: f64 = 3.0;

/// The level of each channel.
pub(in crate::screen) fn draw_levels(state: &ScreenState, pen: &mut Pen) {
    if let Some(reading) = state.reading().filter(|_| pen.height() > 0) {
        draw_meters(state, &reading.signal, pen);
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

/// The words, in as many rows as there are; bars may show the figures already.
pub(in crate::screen) fn draw_words(state: &ScreenState, pen: &mut Pen, has_bars: bool) {
    let Some(reading) = state.reading() else {
        return;
    };
    let look = state.look;
    let plain = if state.is_live() {
        Style::new()
    } else {
        look.faint()
    };
    let (mut x, mut y) = (0, 0);
    for (text, alarming) in facts(state, reading, has_bars) {
        let mut gap = if x == 0 { 0 } else { 2 };
        if x + gap + width(&text) > pen.width() {
            (x, y, gap) = (0, y + 1, 0);
        }
        let style = if alarming { look.alarm() } else { plain };
        x = pen.text(x + gap, y, &text, style);
    }
}

/// Words with whether they are a trouble; the most important first. What is as
/// it should be, zero or not known yet is left out.
fn facts(state: &ScreenState, reading: &Reading, has_bars: bool) -> Vec<(String, bool)> {
    let signal = &reading.signal;
    let mut facts = vec![];
    let (state_of_tone, is_bad) = references::short(reading);
    if !state.is_switched_off() && (is_bad || state.size.0 >= ROOMY || !is_tone(state)) {
        facts.push((state_of_tone, is_bad));
    }
    if is_clipping(signal) {
        facts.push(("CLIP".to_owned(), true));
    } else if let Some(since) = signal.since_clip {
        facts.push((format!("clipped {:.0} s ago", since.0), true));
    }
    let too_many = |problem: &Problem| matches!(problem, Problem::Dropouts(_));
    let counts = [
        ("samples lost", state.live.overrun_frames, true),
        ("gaps", signal.gaps, true),
        ("dropouts", state.dropouts(), state.problems().any(too_many)),
    ];
    let counted = counts.iter().filter(|(_, count, _)| *count > 0);
    facts.extend(counted.map(|(what, count, bad)| (format!("{what} {count}"), *bad)));
    if matches!(signal.channel, ChannelUsed::Left | ChannelUsed::Right) {
        facts.push((channel(signal.channel).to_owned(), false));
    }
    let mut plain = Vec::new();
    if !has_bars {
        plain.extend(bars::facts(state, state.size.0 < ROOMY));
    }
    plain.extend(culprit(state));
    plain.extend(units(state, reading));
    plain.extend(signal.snr.map(|snr| format!("SNR {:.0} dB", snr.0)));
    if state.conditions.clock.source != ClockSource::Default {
        plain.push(clock_in_force(state.look, &state.conditions.clock));
    }
    facts.extend(plain.into_iter().map(|text| (text, false)));
    facts
}

/// More of the weighted flutter than this is worth a word beside the needle. A
/// choice.
const LARGE_SHARE: f64 = 0.3;

/// The part that makes most of the flutter, where it is more than usual.
fn culprit(state: &ScreenState) -> Option<String> {
    let lines = state.wavering.lines.as_ref().filter(|_| state.is_live())?;
    let line = lines.lines.first()?;
    let Naming::Part(part) = Naming::of(lines, line) else {
        return None;
    };
    let is_large = line.weighted_share >= LARGE_SHARE;
    let is_culprit = is_large && is_unusual(line, Some(part), state.tolerance);
    is_culprit.then(|| {
        format!(
            "likely {}: {:.0} % of flutter",
            part.name,
            100.0 * line.weighted_share
        )
    })
}

fn is_tone(state: &ScreenState) -> bool {
    state.conditions.kind == ReferenceKind::Tone
}

/// The same speed in other units, and the tape's own error.
fn units(state: &ScreenState, reading: &Reading) -> Vec<String> {
    let look = state.look;
    let Some(speed) = &reading.speed else {
        return Vec::new();
    };
    let mut parts = Vec::new();
    if state.lead != Lead::Percent {
        parts.push(format!("{} %", signed(speed.deviation.0, 2)));
    }
    parts.extend(match speed.measured {
        Some(heard) => Some(format!("{:.1} Hz heard", heard.0)),
        None => references::beside(reading),
    });
    let own = state.conditions.reference;
    parts.extend(match own.uncertainty {
        _ if state.is_recorded_here() => None,
        known @ Some(_) => Some(format!(
            "tape {} %",
            with_uncertainty(look, own.error.0, known)
        )),
        None if own.error.0 == 0.0 => None,
        None => Some(format!(
            "tape {} %, {} unknown",
            signed(own.error.0, 2),
            look.plus_minus()
        )),
    });
    parts
}

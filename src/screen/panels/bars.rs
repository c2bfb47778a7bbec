//! Drift, wow, flutter and weighted flutter: figures of different standards
//! side by side, each with a bar, a scale and what was kept before and after.

use super::verdict::{LAST_TIME, last_time_beside};
use crate::readings::{DriftReading, FlutterReading, ReferenceKind};
use crate::report::numbers;
use crate::screen::look::Look;
use crate::screen::pen::{Pen, width};
use crate::screen::state::{ScreenState, Slot};
use crate::screen::words::{not_yet, plus_minus, signed, with_uncertainty};
use crate::units::{Hertz, Percent, Seconds};

/// Rows without heads.
const ROWS: u16 = 4;

const LABEL: u16 = 17;
const FIGURE: u16 = 17;
/// Scale at the end of a bar.
const SCALE: u16 = 6;
const BESIDE: u16 = 17;
const KEPT: u16 = 8;

/// Below this width there is no room for bars.
const NARROWEST: u16 = 68;

/// A player's unsteadiness cannot be told from the machine's, and places in a
/// copy, marks and passages come too seldom.
const NEEDS_A_TONE: &str = "needs a tone";

/// One line of the panel.
struct Line {
    label: String,
    /// What is shown as figure: the value with its ±, or why there is none.
    figure: String,
    /// Where the bar ends, in the unit of the scale; `None` without a value.
    value: Option<f64>,
    full: f64,
    /// The bar has zero in its middle.
    signed: bool,
    /// What it was last time.
    last_time: Option<f64>,
    beside: String,
    before: String,
    after: String,
}

pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    if pen.height() < ROWS {
        return;
    }
    let kept = !state.kept.is_empty();
    let header = u16::from(kept && pen.height() > ROWS);
    if header > 0 {
        draw_header(state, pen);
    }
    for (y, line) in (header..).zip(lines(state)) {
        draw_line(state, pen, y, &line, kept);
    }
}

/// Rows that it takes where there is room for all; one for the heads of the
/// columns.
pub(in crate::screen) fn rows(width: u16) -> u16 {
    if width < NARROWEST { 0 } else { ROWS + 1 }
}

fn draw_header(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    let right = pen.width();
    pen.text(LABEL, 0, "now", look.faint());
    pen.text(right - KEPT - 6, 0, "before", look.faint());
    pen.text(right - 5, 0, "after", look.faint());
}

fn draw_line(state: &ScreenState, pen: &mut Pen, y: u16, line: &Line, kept: bool) {
    let look = state.look;
    let valid = line.value.is_some() && state.is_live();
    let style = if valid { look.strong() } else { look.faint() };
    pen.text(0, y, &line.label, look.faint());
    pen.text(LABEL, y, &line.figure, style);
    let right = pen.width() - if kept { 2 * KEPT } else { 0 };
    let beside = right.saturating_sub(BESIDE);
    let columns = beside.saturating_sub(LABEL + FIGURE + SCALE + 1);
    if columns >= 6 {
        draw_bar(state, pen, (LABEL + FIGURE, y), columns, line);
    }
    pen.text(beside, y, &line.beside, look.faint());
    if kept {
        for (text, end) in [
            (&line.before, right + KEPT),
            (&line.after, right + 2 * KEPT),
        ] {
            pen.text(end.saturating_sub(width(text)), y, text, look.strong());
        }
    }
}

fn draw_bar(state: &ScreenState, pen: &mut Pen, (x, y): (u16, u16), columns: u16, line: &Line) {
    let look = state.look;
    let moving = if state.is_live() {
        look.accent()
    } else {
        look.faint()
    };
    pen.text(x, y, &"·".repeat(usize::from(columns)), look.faint());
    let cells = |part: f64, of: u16| (part.clamp(0.0, 1.0) * f64::from(of)).round() as u16;
    let middle = columns / 2;
    if let Some(value) = line.value {
        let part = value.abs() / line.full;
        let (start, length) = if !line.signed {
            (0, cells(part, columns))
        } else if value < 0.0 {
            let length = cells(part, middle);
            (middle - length, length)
        } else {
            (middle, cells(part, columns - middle))
        };
        let bar = "█".repeat(usize::from(length));
        pen.text(x + start, y, &bar, moving);
    }
    if let Some(last) = line.last_time {
        let at = cells(last / line.full, columns).min(columns - 1);
        pen.text(x + at, y, LAST_TIME, look.faint());
    }
    if line.signed {
        pen.text(x + middle, y, "│", look.strong());
    }
    let scale = if line.signed {
        format!("{}{}", look.plus_minus(), line.full)
    } else {
        format!("{} %", line.full)
    };
    pen.text(x + columns + 1, y, &scale, look.faint());
}

fn lines(state: &ScreenState) -> [Line; 4] {
    let reading = state.reading();
    let flutter = reading.map(|it| it.flutter).unwrap_or_default();
    let full = state.flutter_scale.full();
    let kept = |figure: fn(&FlutterReading) -> Option<Percent>, slot: &Slot| {
        let kept = state.newest_kept(slot)?;
        Some(figure(&kept.measurement.flutter).map_or("-".to_owned(), |it| format!("{:.3}", it.0)))
    };
    let last_time = last_time_beside(state, state.size.0).map(|(it, _)| it.measurement.flutter);
    let line = |label: String, figure: fn(&FlutterReading) -> Option<Percent>, beside, own| Line {
        label,
        figure: percent(state.look, figure(&flutter), own, &flutter),
        value: figure(&flutter).map(|it| it.0),
        full,
        signed: false,
        last_time: last_time.as_ref().and_then(|it| Some(figure(it)?.0)),
        beside,
        before: kept(figure, &Slot::Before).unwrap_or_default(),
        after: kept(figure, &Slot::After).unwrap_or_default(),
    };
    let mut lines = [
        drift_line(state),
        line(
            "wow 0.5-6 Hz".to_owned(),
            |it| it.wow_rms,
            "rms".to_owned(),
            None,
        ),
        line(
            "flutter 6-100 Hz".to_owned(),
            |it| it.flutter_rms,
            "rms".to_owned(),
            None,
        ),
        line(
            weighted_label(&flutter),
            |it| it.weighted_two_sigma,
            quasi_peak(&flutter),
            flutter.weighted_two_sigma_uncertainty,
        ),
    ];
    let kind = state.conditions.kind;
    if kind != ReferenceKind::Tone {
        for line in &mut lines[1..] {
            NEEDS_A_TONE.clone_into(&mut line.figure);
        }
    }
    if matches!(kind, ReferenceKind::Passage | ReferenceKind::Marks) {
        NEEDS_A_TONE.clone_into(&mut lines[0].figure);
    }
    lines
}

fn percent(
    look: Look,
    value: Option<Percent>,
    uncertainty: Option<Percent>,
    flutter: &FlutterReading,
) -> String {
    match (value, uncertainty) {
        (Some(value), Some(own)) => {
            let figure = numbers::with_uncertainty(value.0, Some(own.0), false);
            format!("{} %", figure.replace('±', look.plus_minus()))
        }
        (Some(value), None) => format!("{:.3} %", value.0),
        (None, _) => why_not(flutter),
    }
}

/// Why a figure is not there.
fn why_not(flutter: &FlutterReading) -> String {
    match (flutter.valid_in, flutter.band_limit) {
        (None, Some(limit)) => format!("tone too low, {:.0} Hz", limit.0),
        (wait, _) => not_yet(wait),
    }
}

/// The curve of the weighting runs to 200 Hz; a narrower band is stated.
fn weighted_label(flutter: &FlutterReading) -> String {
    match narrower(flutter) {
        Some(limit) => format!("weighted <{:.0} Hz", limit.0),
        None => "weighted 2-sigma".to_owned(),
    }
}

/// Where the weighted figures end, when it is below 200 Hz.
fn narrower(flutter: &FlutterReading) -> Option<Hertz> {
    flutter
        .band_limit
        .filter(|_| flutter.weighted_two_sigma.is_some())
}

fn quasi_peak(flutter: &FlutterReading) -> String {
    match flutter.weighted_peak {
        Some(peak) => format!("quasi-peak {:.3}", peak.0),
        None => "quasi-peak -".to_owned(),
    }
}

fn drift_line(state: &ScreenState) -> Line {
    let reading = state.reading();
    let drift = reading.and_then(|it| it.drift);
    let kept = |slot: &Slot| {
        let kept = state.newest_kept(slot)?;
        let drift = kept.measurement.drift.as_ref();
        Some(drift.map_or("-".to_owned(), |drift| kept_drift(state.look, drift)))
    };
    let steady = reading.and_then(|it| it.speed).map(|it| it.since_move);
    Line {
        label: "drift %/min".to_owned(),
        figure: drift.map_or_else(|| drift_not_yet(steady), |it| drift_figure(state.look, &it)),
        value: drift.map(|it| it.percent_per_minute),
        full: state.drift_scale.full(),
        signed: true,
        last_time: None,
        beside: drift
            .and_then(|it| it.span)
            .map_or_else(String::new, |span| format!("span {:.2} %", span.0)),
        before: kept(&Slot::Before).unwrap_or_default(),
        after: kept(&Slot::After).unwrap_or_default(),
    }
}

/// There is room for one figure: the slope, or the ± that it is lost in.
fn kept_drift(look: Look, drift: &DriftReading) -> String {
    let slope = drift.percent_per_minute;
    match drift.uncertainty_percent_per_minute {
        Some(own) if own >= slope.abs() => format!("0{}", plus_minus(look, Percent(own))),
        _ => signed(slope, 3),
    }
}

fn drift_not_yet(steady: Option<Seconds>) -> String {
    match steady {
        Some(steady) => format!("not yet, {:.0} s in", steady.0),
        None => "not yet".to_owned(),
    }
}

fn drift_figure(look: Look, drift: &DriftReading) -> String {
    let known = drift.uncertainty_percent_per_minute.map(Percent);
    with_uncertainty(look, drift.percent_per_minute, known)
}

/// The same figures in words, as far as they are known; with little room
/// without their ±.
pub(super) fn facts(state: &ScreenState, is_narrow: bool) -> Vec<String> {
    let look = state.look;
    let reading = state.reading();
    let flutter = reading.map(|it| it.flutter).unwrap_or_default();
    let places = if is_narrow { 2 } else { 3 };
    let named =
        |name, value: Option<Percent>| value.map(|it| format!("{name} {:.places$} %", it.0));
    let mut facts = Vec::new();
    if state.conditions.kind == ReferenceKind::Tone {
        let weighted = flutter.weighted_two_sigma;
        facts.extend(if is_narrow {
            let limit = narrower(&flutter).map_or(String::new(), |it| format!(" <{:.0} Hz", it.0));
            named("weighted", weighted).map(|text| text + &limit)
        } else {
            let own = flutter.weighted_two_sigma_uncertainty;
            let figure = |value| percent(look, Some(value), own, &flutter);
            weighted.map(|value| format!("{} {}", weighted_label(&flutter), figure(value)))
        });
        facts.extend(named("wow", flutter.wow_rms));
        facts.extend(named("flutter", flutter.flutter_rms));
        facts.extend(named("quasi-peak", flutter.weighted_peak));
        if facts.is_empty() && (flutter.valid_in.is_some() || flutter.band_limit.is_some()) {
            facts.push(format!("flutter {}", why_not(&flutter)));
        }
    }
    if let Some(drift) = reading.and_then(|it| it.drift) {
        facts.push(format!("drift {} %/min", drift_figure(look, &drift)));
    }
    facts
}

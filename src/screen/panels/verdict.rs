//! Two rows under the digits: what may be said, the ±, how steady; then what to
//! do at the trimmer, or the same speed in other units.

use crate::readings::{Reading, Steadiness, Verdict, Worth};
use crate::screen::look::Look;
use crate::screen::pen::{Pen, parts_that_fit, width};
use crate::screen::references;
use crate::screen::state::{Lead, ScreenState};
use crate::screen::words::{plus_minus, signed, with_uncertainty};
use crate::units::Percent;

/// Why a tape made here judges nothing; short enough for the narrowest
/// screen.
const WHY_NO_ERROR: &str = "reads right at any speed";

/// From so many columns on the facts stand further apart.
const ROOMY: u16 = 60;

/// The row of the verdict.
pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    let verdict = state.verdict();
    let words = format!(" {} ", verdict.words());
    let style = match (state.is_live(), verdict.is_right()) {
        (false, _) => look.faint(),
        (true, true) => look.badge(),
        (true, false) => look.strong(),
    };
    let mut x = pen.text(0, 0, &words, style);
    let text = if state.is_live() {
        look.strong()
    } else {
        look.faint()
    };
    let gap = if pen.width() < ROOMY { 1 } else { 2 };
    for fact in facts(state) {
        if x + gap + width(&fact) > pen.width() {
            break;
        }
        x = pen.text(x + gap, 0, &fact, text);
    }
}

/// The most important first; the rest is left out where room is short.
fn facts(state: &ScreenState) -> Vec<String> {
    let look = state.look;
    let mut facts = Vec::new();
    match state.verdict() {
        Verdict::MadeHere => facts.push(WHY_NO_ERROR.to_owned()),
        // The answer is a key, and the question must not be without it.
        Verdict::WhichTone => {
            let keys = state.tones_to_choose().into_iter().zip(1..);
            let keys: Vec<String> = keys.map(|(tone, key)| format!("{key}: {tone}")).collect();
            facts.push(format!("press {}", keys.join(", ")));
        }
        _ => {}
    }
    if let Some(reading) = state.reading() {
        facts.extend(uncertainty(look, reading));
        facts.extend(steadiness(reading));
    }
    let band = band(look, state.tolerance.half_width);
    let class = match state.tolerance.class {
        Some(class) => format!("band {band} % {}", class.name()),
        None => format!("band {band} %"),
    };
    facts.push(class);
    let worth = state.reading().and_then(|reading| reading.worth);
    facts.extend(worth.filter(|worth| !worth.open).map(no_steadier));
    facts
}

/// From where on it does not pay to wait for a steadier average.
fn no_steadier(worth: Worth) -> String {
    format!("no steadier beyond {} s", worth.point.averaging.0)
}

/// A band as it was chosen, without trailing zeros.
fn band(look: Look, half_width: Percent) -> String {
    format!("{}{}", look.plus_minus(), half_width.0)
}

fn uncertainty(look: Look, reading: &Reading) -> Option<String> {
    let speed = reading.speed.as_ref()?;
    Some(match speed.stated_uncertainty() {
        Some(known) => format!("{} %", plus_minus(look, known)),
        None => format!("{} not yet", look.plus_minus()),
    })
}

fn steadiness(reading: &Reading) -> Option<String> {
    let speed = reading.speed.as_ref()?;
    let over = speed.averaged.0;
    Some(match speed.steadiness {
        Steadiness::Moving => "moving".to_owned(),
        Steadiness::Settling => format!("settling {over:.0} s"),
        // The length of the mean, which grows no more: not a clock.
        Steadiness::Settled => format!("settled: mean of {over:.0} s"),
    })
}

/// The row below: what to do at the trimmer, and where nothing is said of that,
/// the same speed in other units.
pub(in crate::screen) fn draw_below(state: &ScreenState, pen: &mut Pen) {
    let room = pen.width();
    match state.guided() {
        Some(guided) => {
            pen.text(0, 0, &parts_that_fit(&guided, room), state.look.strong());
        }
        None => draw_units(state, pen),
    }
}

fn draw_units(state: &ScreenState, pen: &mut Pen) {
    let Some(speed) = state.reading().and_then(|reading| reading.speed.as_ref()) else {
        return;
    };
    let look = state.look;
    let mut parts = Vec::new();
    if state.lead != Lead::Percent {
        parts.push(format!("{} %", signed(speed.deviation.0, 2)));
    }
    let nominal = state.nominal();
    parts.extend(match (speed.measured, nominal) {
        (Some(heard), Some(nominal)) => {
            Some(format!("{:.1} Hz heard, {nominal} is right", heard.0))
        }
        (Some(heard), None) => Some(format!("{:.1} Hz heard", heard.0)),
        (None, _) => state.reading().and_then(references::beside),
    });
    let error = state.conditions.reference;
    parts.extend(match error.uncertainty {
        _ if state.is_recorded_here() => {
            Some("recorded on this machine: no speed error".to_owned())
        }
        known @ Some(_) => Some(format!(
            "tape {} %",
            with_uncertainty(look, error.error.0, known)
        )),
        None if error.error.0 == 0.0 => None,
        None => Some(format!(
            "tape {} %, {} unknown",
            signed(error.error.0, 2),
            look.plus_minus()
        )),
    });
    let mut x = 1;
    for part in parts {
        if x + width(&part) > pen.width() {
            break;
        }
        x = pen.text(x, 0, &part, look.faint()) + 3;
    }
}

//! The row under the digits: what may be said, the ±, how steady.

use crate::readings::{Reading, Steadiness, Verdict};
use crate::records::Snapshot;
use crate::report::band;
use crate::screen::look::Look;
use crate::screen::pen::{Pen, width};
use crate::screen::state::ScreenState;
use crate::screen::words::{plus_minus, signed};

/// Mark of an earlier figure; nothing else on the scales looks like it.
pub(super) const LAST_TIME: &str = "╎";

/// Columns from which on the facts stand further apart.
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
    let gap = gap(pen.width());
    for fact in facts(state) {
        if x + gap + width(&fact) > pen.width() {
            break;
        }
        x = pen.text(x + gap, 0, &fact, text);
    }
    if let Some((_, words)) = last_time_beside(state, pen.width()) {
        pen.right(0, &words, look.faint());
    }
}

fn gap(columns: u16) -> u16 {
    if columns < ROOMY { 1 } else { 2 }
}

/// What the machine read last time and the words for it, with their mark: at
/// the right, where all else leaves room in so many columns. The mark stands on
/// the scales only where these words do.
pub(super) fn last_time_beside(state: &ScreenState, columns: u16) -> Option<(&Snapshot, String)> {
    let last = state.last_time()?;
    let gap = gap(columns);
    let facts = facts(state);
    let used = facts.iter().map(|fact| gap + width(fact)).sum::<u16>();
    let room = columns.checked_sub(width(state.verdict().words()) + 2 + used + 2)?;
    let speed = last.measurement.speed?.deviation;
    [
        format!(
            "{LAST_TIME} last time {}",
            state.speed_in_words(&last.measurement)
        ),
        format!("{LAST_TIME} last time {} %", signed(speed.0, 2)),
    ]
    .into_iter()
    .find(|words| width(words) <= room)
    .map(|words| (last, words))
}

/// The most important first; the rest is left out where room is short.
fn facts(state: &ScreenState) -> Vec<String> {
    let look = state.look;
    let mut facts = Vec::new();
    match state.verdict() {
        Verdict::MadeHere => facts.push("no verdict".to_owned()),
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
        facts.extend(steadiness(reading, state.verdict()));
    }
    let band = band(state.tolerance).replace('±', look.plus_minus());
    facts.push(format!("band {band}"));
    facts
}

fn uncertainty(look: Look, reading: &Reading) -> Option<String> {
    let speed = reading.speed.as_ref()?;
    Some(match speed.stated_uncertainty() {
        Some(known) => format!("{} %", plus_minus(look, known)),
        None => format!("{} not yet", look.plus_minus()),
    })
}

/// Unless the verdict says so already. Without a time: that of the mean grows no
/// more at last, and looked like a clock that had stopped.
fn steadiness(reading: &Reading, verdict: Verdict) -> Option<String> {
    let speed = reading.speed.as_ref()?;
    let word = match speed.steadiness {
        Steadiness::Moving => "moving",
        Steadiness::Settling => "settling",
        Steadiness::Settled => "settled",
    };
    let is_said = matches!(verdict, Verdict::Moving | Verdict::Settling);
    (!is_said).then(|| word.to_owned())
}

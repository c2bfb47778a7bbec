//! The first row: what is measured, against what.

use crate::audio::analysis::SourceState;
use crate::readings::Nominal;
use crate::screen::pen::{Pen, harmless, width};
use crate::screen::state::{ScreenState, SourceKind};

/// From so many columns on there is room for all of it.
const ROOMY: u16 = 70;

pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    let mut right = match (state.conditions.nominal, state.nominal()) {
        _ if !state.conditions.kind.has_frequency() => state.conditions.kind.name().to_owned(),
        (Nominal::Assumed(hz), _) if state.is_tone_open() => format!("tone {hz}?"),
        (Nominal::Fixed(hz) | Nominal::Assumed(hz), _) => {
            format!("{} {hz}", state.conditions.kind.name())
        }
        (Nominal::Nearest, Some(hz)) => format!("tone {hz} (found)"),
        (Nominal::Nearest, None) => "tone: any usual one".to_owned(),
    };
    if let Some(words) = state.words_of_listening() {
        right = format!("copy {words} | {right}");
    }
    if let Some(words) = state.words_of_ticks() {
        // What they say means that they are on; where room is short, the
        // source needs it more.
        let narrow = words.trim_start_matches("on: ");
        let words = if pen.width() < ROOMY { narrow } else { words };
        right = format!("ticks {words} | {right}");
    }
    if let Some(run) = state.runs.on() {
        right = format!("{run} | {right}");
    }
    let room = pen.width().saturating_sub(width(&right) + 2);
    if let Some(machine) = &state.machine {
        let name = harmless(machine);
        if width(&name) + 3 < room / 2 && name != state.source_name() {
            right = format!("{name} | {right}");
        }
    }
    let x = pen.text(0, 0, "tapewright", look.strong());
    let left = format!("  {}", source(state));
    let room = pen.width().saturating_sub(x + width(&right) + 2);
    let left: String = shortened(&left, room);
    pen.text(x, 0, &left, look.faint());
    pen.right(0, &right, look.faint());
}

fn source(state: &ScreenState) -> String {
    let kind = match state.kind {
        SourceKind::Input => "input",
        SourceKind::Recording => "recording",
        SourceKind::Rehearsal => "rehearsal",
    };
    let name = harmless(state.source_name());
    match &state.live.source {
        SourceState::Opening => format!("{kind}: opening"),
        SourceState::Running { .. } if state.bench.is_some() => rehearsed(state, &name),
        SourceState::Running { format, .. } => {
            let channels = match format.channels {
                1 => "mono".to_owned(),
                2 => "stereo".to_owned(),
                many => format!("{many} channels"),
            };
            format!("{kind}: {name}, {} Hz {channels}", format.rate_hz)
        }
        SourceState::Lost { .. } => format!("{kind}: {name} LOST"),
        SourceState::Ended { .. } => format!("{kind}: {name} ENDED"),
        SourceState::Failed { .. } => format!("{kind}: FAILED"),
    }
}

/// How the simulated machine stands, instead of a format that nobody chose.
fn rehearsed(state: &ScreenState, name: &str) -> String {
    let Some(bench) = state.bench else {
        return name.to_owned();
    };
    format!(
        "power {}, trimmer {:.1} %, cleaned {}x, {name}",
        if bench.powered { "on" } else { "OFF" },
        bench.trimmer * 100.0,
        bench.strokes
    )
}

fn shortened(text: &str, room: u16) -> String {
    if width(text) <= room {
        return text.to_owned();
    }
    let mut short = String::new();
    for letter in text.chars() {
        short.push(letter);
        if width(&short) + 2 > room {
            short.pop();
            break;
        }
    }
    short + ".."
}

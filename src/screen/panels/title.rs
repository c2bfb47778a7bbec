//! The first row: what is measured, against what.

use crate::audio::analysis::SourceState;
use crate::readings::Nominal;
use crate::report::numbers::plain;
use crate::screen::pen::{Pen, width};
use crate::screen::state::{ScreenState, SourceKind};

/// Columns from which on there is room for all of it.
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
    // What is on the bench needs the room more.
    let x = if pen.width() < ROOMY {
        0
    } else {
        pen.text(0, 0, "tapewright", look.strong()) + 2
    };
    let room = pen.width().saturating_sub(x + width(&right) + 2);
    let machine = state.machine.as_deref().map(plain);
    let machine = machine.filter(|name| name != state.source_name());
    let left = fitting(&parts(state, machine), room);
    pen.text(x, 0, &left, look.faint());
    pen.right(0, &right, look.faint());
}

/// What is measured: the machine and the source first, then details.
fn parts(state: &ScreenState, machine: Option<String>) -> Vec<String> {
    let kind = match state.kind {
        SourceKind::Input => "input",
        SourceKind::Recording => "recording",
        SourceKind::Rehearsal => "rehearsal",
    };
    let name = plain(state.source_name());
    let mut parts: Vec<String> = machine.into_iter().collect();
    match (&state.live.source, state.bench) {
        (SourceState::Opening, _) => parts.push(format!("{kind}: opening")),
        // Instead of a format that nobody chose.
        (SourceState::Running { .. }, Some(bench)) => parts.extend([
            name,
            format!("power {}", if bench.powered { "on" } else { "OFF" }),
            format!("cleaned {}x", bench.strokes),
            format!("trimmer {:.1} %", bench.trimmer * 100.0),
        ]),
        (SourceState::Running { format, .. }, None) => {
            let channels = match format.channels {
                1 => "mono".to_owned(),
                2 => "stereo".to_owned(),
                many => format!("{many} channels"),
            };
            parts.push(format!("{kind}: {name}"));
            parts.push(format!("{} Hz {channels}", format.rate_hz));
        }
        (SourceState::Late { .. }, _) => parts.push(format!("{kind}: {name} LATE")),
        (SourceState::Lost { .. }, _) => parts.push(format!("{kind}: {name} LOST")),
        (SourceState::Ended { .. }, _) => parts.push(format!("{kind}: {name} ENDED")),
        (SourceState::Failed { .. }, _) => parts.push(format!("{kind}: FAILED")),
    }
    parts
}

/// As many parts as fit, the last left out first; the first is cut where not
/// even that has room.
fn fitting(parts: &[String], room: u16) -> String {
    let mut text = parts.first().cloned().unwrap_or_default();
    for part in parts.iter().skip(1) {
        let longer = format!("{text}, {part}");
        if width(&longer) > room {
            break;
        }
        text = longer;
    }
    shortened(&text, room)
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_name_is_cut_last() {
        let parts = ["Quillow Sparrow", "power on", "cleaned 0x"].map(str::to_owned);
        for (room, shown) in [
            (40, "Quillow Sparrow, power on, cleaned 0x"),
            (30, "Quillow Sparrow, power on"),
            (20, "Quillow Sparrow"),
            (10, "Quillow .."),
        ] {
            assert_eq!(fitting(&parts, room), shown);
        }
    }
}

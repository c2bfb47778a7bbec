//! The contact check: level of each channel, crackles and breaks so far and
//! where in the movement they came; then the verdict, the earlier run beside
//! it.

use crate::audio::analysis::Contacting;
use crate::readings::contact::{ContactChannel, ContactReport};
use crate::report::contact::{advice, compared, gained, headline, marks};
use crate::screen::pen::{Pen, wrap};
use crate::screen::state::{ScreenState, SourceKind};

const HOW: &str = "Play a tone or music. Turn the level down at the speaker and unplug \
    headphones: crackles are loud. k begins; work the control slowly end to end and back, or the \
    switch a few times; k ends.";

const HOW_IN_REHEARSAL: &str = "o lets a simulated hand work the control; p and c clean it.";

const UNDER_WAY: &str = "Slowly to one end and back, then k. Faults show half a second late. Keep \
    the speaker low.";

/// The quiet end of the level bars, in dB.
const FLOOR_DB: f64 = -60.0;

/// Draws the whole view.
pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    match &state.live.contact {
        Some(Contacting::Running(report)) => draw_running(state, report, pen),
        Some(Contacting::Done(_)) | None => match &state.contacts[..] {
            [] => draw_before(state, pen),
            [only] => draw_done(state, None, only, pen),
            [.., earlier, newest] => draw_done(state, Some(earlier), newest, pen),
        },
    }
}

fn draw_before(state: &ScreenState, pen: &mut Pen) {
    pen.text(0, 0, "contact check: k begins", state.look.strong());
    let y = draw_text(state, pen, 1, HOW);
    if state.kind == SourceKind::Rehearsal {
        draw_text(state, pen, y, HOW_IN_REHEARSAL);
    }
}

fn draw_running(state: &ScreenState, report: &ContactReport, pen: &mut Pen) {
    let look = state.look;
    let tracking = report
        .tracking
        .map_or(String::new(), |it| format!(", L/R {:.1} dB apart", it.0));
    let head = format!(
        "contact, k ends: {:.0} s, {} times up or down{tracking}",
        report.duration.0.floor(),
        report.passes
    );
    pen.text(0, 0, &head, look.strong());
    let y = draw_channels(state, report, pen, 1);
    draw_text(state, pen, y, UNDER_WAY);
}

/// A row of figures, level and marks for each channel; returns the next row.
fn draw_channels(state: &ScreenState, report: &ContactReport, pen: &mut Pen, top: u16) -> u16 {
    let look = state.look;
    let names: &[&str] = if report.channels.len() == 1 {
        &["M"]
    } else {
        &["L", "R"]
    };
    let mut y = top;
    for (channel, name) in report.channels.iter().zip(names) {
        pen.text(0, y, name, look.faint());
        let room = pen.width().saturating_sub(33).min(40);
        draw_bar(state, channel, pen, (2, y), room);
        let counts = format!(
            "{} crackles {} breaks",
            channel.crackles, channel.break_count
        );
        let style = if channel.is_bad() {
            look.alarm()
        } else {
            look.strong()
        };
        pen.text(room + 11, y, &counts, style);
        y += 1;
    }
    for (channel, name) in report.channels.iter().zip(names) {
        let line = format!("{name} low {} high", marks(channel));
        pen.text(0, y, &line, look.strong());
        if y == top + report.channels.len() as u16 {
            pen.text(32, y, "X break  * crackle", look.faint());
        }
        y += 1;
    }
    y
}

fn draw_bar(
    state: &ScreenState,
    channel: &ContactChannel,
    pen: &mut Pen,
    (x, y): (u16, u16),
    room: u16,
) {
    let look = state.look;
    let Some(now) = channel.now else { return };
    let part = ((now.0 - FLOOR_DB) / -FLOOR_DB).clamp(0.0, 1.0);
    let filled = (part * f64::from(room)).round() as usize;
    pen.text(x, y, &"·".repeat(usize::from(room)), look.faint());
    pen.text(x, y, &"█".repeat(filled), look.accent());
    pen.text(x + room + 1, y, &format!("{:.0} dB", now.0), look.strong());
}

fn draw_done(
    state: &ScreenState,
    earlier: Option<&std::sync::Arc<ContactReport>>,
    newest: &ContactReport,
    pen: &mut Pen,
) {
    let look = state.look;
    let style = if newest.channels.iter().any(ContactChannel::is_bad) {
        look.alarm()
    } else {
        look.strong()
    };
    pen.text(0, 0, &format!("contact: {}", headline(newest)), style);
    let mut y = match earlier {
        Some(earlier) => draw_compared(state, earlier, newest, pen, 1),
        None => draw_channels(state, newest, pen, 1),
    };
    // The last row says how to go on; advice ends with a whole sentence.
    let room = pen.height().saturating_sub(y + 1);
    y = draw_text(state, pen, y, &fitting(&advice(newest), pen.width(), room));
    draw_text(state, pen, y, "k checks anew, Esc goes back.");
}

fn draw_compared(
    state: &ScreenState,
    earlier: &ContactReport,
    newest: &ContactReport,
    pen: &mut Pen,
    mut y: u16,
) -> u16 {
    let look = state.look;
    let columns = [17, 17 + pen.width().saturating_sub(17).min(56) / 2];
    pen.text(columns[0], y, "earlier", look.faint());
    pen.text(columns[1], y, "now", look.faint());
    y += 1;
    // The verdict of this run stands above.
    let mut rows = compared(earlier, newest);
    rows.remove(0);
    if let Some(gained) = gained(earlier, newest) {
        rows.insert(0, ["level gained".to_owned(), gained, String::new()]);
    }
    for [what, before, after] in rows {
        pen.text(0, y, &what, look.faint());
        pen.text(columns[0], y, &before, look.strong());
        pen.text(columns[1], y, &after, look.strong());
        y += 1;
    }
    y
}

/// As many whole sentences as have room.
fn fitting(text: &str, width: u16, rows: u16) -> String {
    let mut fits = String::new();
    for sentence in text.split_inclusive(". ") {
        let longer = format!("{fits}{sentence}");
        if wrap(&longer, width).len() > usize::from(rows) {
            break;
        }
        fits = longer;
    }
    fits
}

/// Writes a text and returns the row after it.
fn draw_text(state: &ScreenState, pen: &mut Pen, mut y: u16, text: &str) -> u16 {
    for line in wrap(text, pen.width()) {
        pen.text(0, y, &line, state.look.faint());
        y += 1;
    }
    y
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::contact::{ContactBreak, ContactTrack};
    use crate::screen::View;
    use crate::screen::specimen;
    use crate::units::{Decibels, Seconds};
    use ratatui_core::buffer::Buffer;
    use ratatui_core::layout::Rect;
    use std::sync::Arc;

    fn report(breaks: usize) -> ContactReport {
        let channel = |track, breaks| ContactChannel {
            track,
            now: Some(Decibels(-20.0)),
            level: Some([Decibels(-50.0), Decibels(-12.0)]),
            gone: Seconds(0.0),
            crackles: 3,
            break_count: breaks as u64,
            breaks: vec![
                ContactBreak {
                    start: Seconds(2.0),
                    length: Seconds(0.005),
                    depth: Decibels(6.0),
                    level: Decibels(-30.0),
                };
                breaks
            ],
            crackle_places: vec![(Seconds(1.0), Decibels(-15.0)); 3],
        };
        ContactReport {
            duration: Seconds(9.0),
            channels: vec![
                channel(ContactTrack::Left, breaks),
                channel(ContactTrack::Right, 0),
            ],
            tracking: Some(Decibels(1.3)),
            passes: 2,
        }
    }

    fn shown(state: &ScreenState, (width, height): (u16, u16)) -> String {
        let mut buffer = Buffer::empty(Rect::new(0, 0, width, height));
        crate::screen::draw(state, &mut buffer);
        let row = |y| -> String { (0..width).map(|x| buffer[(x, y)].symbol()).collect() };
        (0..height).map(|y| row(y) + "\n").collect()
    }

    fn state() -> ScreenState {
        let mut state = specimen::showing(specimen::reading(0.0));
        state.view = View::Contact;
        state
    }

    #[test]
    fn what_matters_is_seen_on_every_size() {
        for size in [(80, 24), (50, 14)] {
            let mut state = state();
            let text = shown(&state, size);
            assert!(text.contains("contact check: k begins"), "{text}");
            let mut live = (*state.live).clone();
            live.contact = Some(Contacting::Running(Arc::new(report(2))));
            state.live = Arc::new(live);
            let text = shown(&state, size);
            assert!(text.contains("3 crackles 2 breaks"), "{text}");
            assert!(text.contains("L low"), "{text}");
            let mut live = (*state.live).clone();
            live.contact = None;
            state.live = Arc::new(live);
            state.contacts = vec![Arc::new(report(2))];
            let text = shown(&state, size);
            assert!(
                text.contains("contact: the left channel drops out"),
                "{text}"
            );
            assert!(text.contains("power off"), "{text}");
            state.contacts.push(Arc::new(report(0)));
            let text = shown(&state, size);
            assert!(text.contains("contact: crackles"), "{text}");
            assert!(text.contains("earlier"), "{text}");
        }
    }

    #[test]
    fn results_end_with_a_whole_sentence_and_show_the_gain_on_the_smallest_screen() {
        let mut state = state();
        state.contacts = vec![Arc::new(report(2))];
        let whole = |text: &str| {
            let rows: Vec<&str> = text.lines().map(str::trim_end).collect();
            let last = rows.iter().position(|it| it.contains("k checks anew"));
            let last = last.unwrap_or_else(|| panic!("{text}"));
            assert!(rows[last].contains("Esc goes back."), "{text}");
            assert!(
                rows[last - 1].ends_with('.') || rows[last - 1].contains("dB"),
                "{text}"
            );
        };
        for size in [(50, 14), (60, 16), (80, 24)] {
            state.contacts.truncate(1);
            whole(&shown(&state, size));
            let mut better = report(0);
            better.channels[0].level = Some([Decibels(-50.0), Decibels(-9.75)]);
            state.contacts.push(Arc::new(better));
            let text = shown(&state, size);
            whole(&text);
            assert!(text.contains("level gained"), "{text}");
            assert!(text.contains("left +2.3 dB, right +0.0 dB"), "{text}");
        }
    }
}

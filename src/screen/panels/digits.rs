//! The deviation, readable from a metre away, with SLOW or FAST beside it.

use crate::readings::{SpeedReading, Verdict};
use crate::screen::font;
use crate::screen::pen::{Pen, width};
use crate::screen::references;
use crate::screen::state::{Lead, ScreenState, SourceKind};
use crate::screen::words::signed;

/// The widest figure that is expected; what stands beside it does not move
/// when the figure gets longer.
const WIDEST: &str = "-88.88";

/// Stands in the line of the digits for as long as they are invented.
const SIMULATED: &str = "SIMULATED";

/// Cells of the longest unit.
const UNIT: u16 = 5;

/// Cells for a unit or a short word beside the figure.
const BESIDE: u16 = 13;

/// The longest word beside it.
const LONGEST: &str = "RIGHT";

/// Where the word begins after the figure: the unit stands between them.
const TO_WORD: u16 = 1 + UNIT + 1;

/// Cells that stay free for the badges at the right edge.
const BADGES: u16 = SIMULATED.len() as u16 + 1;

/// The size of the digits for an area: as large as it can be with the word
/// beside it as high and at least half as wide; a small one may have the word
/// in plain letters.
fn size(width: u16, height: u16) -> u16 {
    let beside = |size: u16| match size {
        1 => BESIDE,
        _ => TO_WORD + font::width(LONGEST, size.div_ceil(2)) + BADGES,
    };
    let fits = |size: &u16| font::width(WIDEST, *size) + beside(*size) <= width;
    (1..=height / font::HEIGHT).rev().find(fits).unwrap_or(0)
}

/// Rows that the digits take of those that could be had.
pub(in crate::screen) fn rows(width: u16, height: u16) -> u16 {
    (size(width, height) * font::HEIGHT).max(1)
}

pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    let style = if state.is_live() {
        look.strong()
    } else {
        look.faint()
    };
    let speed = state.reading().and_then(|reading| reading.speed.as_ref());
    // While a passage plays its time is what there is to watch.
    let counted = state.reading().and_then(references::counted);
    let counted = counted.filter(|_| speed.is_none());
    let figure = match (speed, counted) {
        (Some(speed), _) => figure(speed, state.lead),
        (None, Some(since)) => format!("{:.1}", since.0),
        (None, None) => "--.--".to_owned(),
    };
    let size = size(pen.width(), pen.height());
    let last = pen.height().saturating_sub(1);
    let beside = if size == 0 {
        pen.text(0, 0, &figure, style) + 1
    } else {
        let reserved = font::width(WIDEST, size);
        let indent = reserved.saturating_sub(font::width(&figure, size));
        font::draw(pen, (indent, 0), &figure, (size, size), style).max(reserved) + 1
    };
    // The unit keeps the width of the longest, so that the word stands still.
    let unit = counted.map_or(unit(state.lead), |_| "s");
    let mut x = pen.text(beside, last, unit, style);
    if let Some(word) = speed.and_then(|speed| word(state, speed)) {
        let right = pen.width().saturating_sub(BADGES);
        let at = beside - 1 + TO_WORD;
        let fits = |across: &u16| at + font::width(word, *across) <= right;
        x = match (1..=size).rev().find(fits) {
            Some(across) => font::draw(pen, (at, 0), word, (across, size), style),
            // A small word stands above the unit, or after it.
            None if size > 0 => pen.text(beside + 1, 0, word, style),
            None => pen.text(x + 1, 0, word, style),
        };
    }
    draw_badges(state, pen, x + 1);
}

fn draw_badges(state: &ScreenState, pen: &mut Pen, left: u16) {
    let middle = pen.height() / 2;
    let mut badges = Vec::new();
    if state.kind == SourceKind::Rehearsal {
        badges.push((middle, SIMULATED));
    }
    if !state.is_live() && state.reading().is_some() {
        badges.push((middle.saturating_sub(1), "NOT LIVE"));
    }
    for (y, text) in badges {
        let x = pen.width().saturating_sub(width(text));
        // On a single row the badge stands after the figure, wherever it ends.
        let x = if pen.height() == 1 { x.max(left) } else { x };
        pen.text(x, y, text, state.look.badge());
    }
}

/// The figure in the unit that leads.
fn figure(speed: &SpeedReading, lead: Lead) -> String {
    match lead {
        Lead::Percent => signed(speed.deviation.0, 2),
        Lead::Cents => signed(speed.deviation.cents().0, 1),
        Lead::Hertz => speed
            .measured
            .map_or_else(|| "--.--".to_owned(), |hz| format!("{:.1}", hz.0)),
    }
}

/// The unit that leads.
fn unit(lead: Lead) -> &'static str {
    match lead {
        Lead::Percent => "%",
        Lead::Cents => "cents",
        Lead::Hertz => "Hz",
    }
}

/// What is to be read from a metre away: that it is right, which way it is wrong,
/// or that this tape says neither.
fn word(state: &ScreenState, speed: &SpeedReading) -> Option<&'static str> {
    match state.verdict() {
        verdict if verdict.is_right() => return Some("RIGHT"),
        Verdict::MadeHere => return Some("VOID"),
        _ => {}
    }
    direction(speed, state.lead).filter(|_| state.way().is_some())
}

/// Which way, unless the figure shown rounds to zero.
fn direction(speed: &SpeedReading, lead: Lead) -> Option<&'static str> {
    let percent = speed.deviation.0;
    let shown = match lead {
        Lead::Cents => signed(speed.deviation.cents().0, 1),
        Lead::Percent | Lead::Hertz => signed(percent, 2),
    };
    match shown.as_bytes()[0] {
        b'-' => Some("SLOW"),
        b'+' => Some("FAST"),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::screen::specimen;
    use crate::units::Percent;
    use ratatui_core::buffer::Buffer;
    use ratatui_core::layout::Rect;

    #[test]
    fn each_unit_shows_the_same_speed() {
        // -1.2317 % of 3150 Hz are 3111.20 Hz and 1200 log2(0.987683) = -21.46
        // cents.
        let speed = specimen::speed(-1.2317);
        assert_eq!(figure(&speed, Lead::Percent), "-1.23");
        assert_eq!(figure(&speed, Lead::Cents), "-21.5");
        assert_eq!(figure(&speed, Lead::Hertz), "3111.2");
    }

    #[test]
    fn without_a_speed_the_digits_are_dashes() {
        for (reading, figure) in [
            (specimen::silence(), "--.-- "),
            (specimen::reading(-1.23), "-1.23 "),
        ] {
            let area = Rect::new(0, 0, 30, 1);
            let mut buffer = Buffer::empty(area);
            draw(
                &specimen::showing(reading),
                &mut Pen::new(&mut buffer, area),
            );
            let row: String = (0..30).map(|x| buffer[(x, 0)].symbol()).collect();
            assert!(row.starts_with(figure), "{row}");
        }
    }

    #[test]
    fn a_deviation_that_shows_as_zero_is_neither_slow_nor_fast() {
        let mut speed = specimen::speed(0.0);
        for (deviation, word) in [
            (-0.004, None),
            (0.004, None),
            (-0.006, Some("SLOW")),
            (0.006, Some("FAST")),
        ] {
            speed.deviation = Percent(deviation);
            assert_eq!(direction(&speed, Lead::Percent), word, "{deviation}");
        }
    }

    #[test]
    fn the_digits_grow_with_the_room() {
        assert_eq!(rows(50, 5), 5);
        assert_eq!(rows(80, 9), 5);
        assert_eq!(rows(120, 12), 10);
        assert_eq!(rows(20, 5), 1);
        assert_eq!(rows(200, 40), 15);
        assert_eq!(rows(300, 60), 25);
    }
}

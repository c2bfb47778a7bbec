//! From too slow to too fast: where the machine stood, and where it stands now.
//! For people who never saw a percent of speed.

use maud::{Markup, html};

use super::frame::{Axis, n};
use super::letters::{self, fitting};
use super::{Picture, Side};

const SIZE: [f64; 2] = [560.0, 116.0];
const EDGE: f64 = 16.0;
/// Middle of the bar, and half its height.
const BAR: [f64; 2] = [48.0, 11.0];
/// Size of the letters that stand by the marks, as the style has it.
const BIG: f64 = 15.0;

/// Where a machine stands.
#[derive(Clone, Debug, PartialEq)]
pub struct ScaleMark {
    /// Before or after.
    pub side: Side,
    /// What is said of it, in a few words.
    pub words: String,
    /// Percent from right; `None` where nothing may be said.
    pub percent: Option<f64>,
    /// 95 % of it.
    pub uncertainty: Option<f64>,
}

/// The scale with its marks; `half_width` is that of the zone that is right.
pub fn scale(name: &str, title: &str, marks: &[ScaleMark], half_width: f64) -> Picture {
    let farthest = marks.iter().filter_map(|it| {
        let off = it.percent?.abs() + it.uncertainty.unwrap_or(0.0);
        Some(1.12 * off)
    });
    let end = farthest.fold(2.2 * half_width, f64::max);
    let across = Axis {
        values: [-end, end],
        place: [EDGE, SIZE[0] - EDGE],
    };
    let said: Vec<String> = marks
        .iter()
        .map(|it| format!("{}: {}", it.side.word(), it.words))
        .collect();
    Picture::new(
        name,
        title,
        said.join("; "),
        SIZE,
        drawn(marks, half_width, across),
    )
}

fn drawn(marks: &[ScaleMark], half_width: f64, across: Axis) -> Markup {
    let [middle, half] = BAR;
    let [left, right] = across.place;
    let zone = [-half_width, half_width].map(|it| across.at(it));
    // As narrow as it may be, it is to be seen.
    let wide = (zone[1] - zone[0]).max(3.0);
    let zone_left = f64::midpoint(zone[0], zone[1]) - wide / 2.0;
    let end = SIZE[1] - 8.0;
    html! {
        rect class="zone" x=(n(zone_left)) y=(middle - half) width=(n(wide)) height=(2.0 * half) {}
        line class="axis" x1=(left) x2=(right) y1=(middle) y2=(middle) {}
        @for edge in [zone_left, zone_left + wide] {
            line class="edge thick" x1=(n(edge)) x2=(n(edge)) y1=(middle - half) y2=(middle + half) {}
        }
        text class="soft" x=(left) y=(end) { "◂ too slow" }
        text class="words mid" x=(SIZE[0] / 2.0) y=(end) { "right" }
        text class="soft end" x=(right) y=(end) { "too fast ▸" }
        @for mark in marks { (marked(mark, across)) }
    }
}

fn marked(mark: &ScaleMark, across: Axis) -> Markup {
    let [middle, half] = BAR;
    let place = mark.percent.map(|it| across.within(it));
    let words = format!("{}: {}", mark.side.word(), mark.words);
    let words = fitting(&words, BIG, SIZE[0] - 2.0 * EDGE);
    let wide = letters::width(&words, BIG);
    let anchor = place.unwrap_or(SIZE[0] / 2.0);
    let least = EDGE + wide / 2.0;
    let x = anchor.clamp(least, (SIZE[0] - least).max(least));
    let [y, from, to] = match mark.side {
        Side::Before => [middle - half - 16.0, middle - half - 11.0, middle - 6.0],
        Side::After => [middle + half + 25.0, middle + half + 11.0, middle + 6.0],
    };
    let side = mark.side.word();
    // Both are to be seen where they are at one place.
    let radius = if mark.side == Side::Before { 8.0 } else { 5.0 };
    html! {
        text class={ "big mid " (side) "-words" } x=(n(x)) y=(y) { (words) }
        @if let Some(place) = place {
            line class=(mark.side.curve()) x1=(n(place)) x2=(n(place)) y1=(from) y2=(to) {}
            @if let Some((percent, known)) = mark.percent.zip(mark.uncertainty) {
                @let [low, high] = [percent - known, percent + known].map(|it| n(across.within(it)));
                line class=(mark.side.curve()) x1=(low) x2=(high) y1=(middle) y2=(middle) {}
            }
            circle class={ "thick " (side) "-mark" } cx=(n(place)) cy=(middle) r=(radius) {}
        }
    }
}

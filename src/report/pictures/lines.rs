//! The lines in the flutter with the parts they may come from, before and after.

use maud::html;

use super::frame::{Axis, LETTERS, n};
use super::letters::fitting;
use super::tracks::key;
use super::{Picture, Side};

const WIDTH: f64 = 440.0;
const TOP: f64 = 24.0;
const ROW: f64 = 33.0;
/// Words stand to the left of it.
const BARS_FROM: f64 = 190.0;
/// Room for a figure behind the longest bar.
const FIGURE: f64 = 62.0;

/// A line: what it may come from, its rate in words, its amplitude in percent
/// before and after; `None` where it was not seen.
pub type ShownLine = (String, String, [Option<f64>; 2]);

/// Bars of the lines; `None` where there are none. `sides` were measured.
pub fn lines(name: &str, sides: &[Side], lines: &[ShownLine]) -> Option<Picture> {
    let peaks = lines.iter().flat_map(|it| it.2).flatten();
    let highest = peaks.fold(0.0, f64::max);
    if lines.is_empty() || highest <= 0.0 {
        return None;
    }
    let across = Axis {
        values: [0.0, highest],
        place: [BARS_FROM, WIDTH - FIGURE],
    };
    let said: Vec<String> = lines.iter().map(|it| words(it, sides)).collect();
    let height = TOP + ROW * lines.len() as f64;
    let drawn = html! {
        (key(sides, true))
        @for (nth, (part, rate, peaks)) in lines.iter().enumerate() {
            @let top = TOP + ROW * nth as f64;
            text class="words" x="4" y=(top + 13.0) { (fitting(part, LETTERS, BARS_FROM - 10.0)) }
            text class="soft" x="4" y=(top + 28.0) { (fitting(rate, LETTERS, BARS_FROM - 10.0)) }
            @for (side, peak) in [Side::Before, Side::After].into_iter().zip(peaks) {
                @if sides.contains(&side) {
                    @let y = if side == Side::Before { top + 3.0 } else { top + 17.0 };
                    @if let Some(peak) = peak {
                        rect class={ (side.word()) "-mark" } x=(BARS_FROM) y=(y) height="10"
                            width=(n((across.at(*peak) - BARS_FROM).max(1.0))) {}
                        text class="words" x=(n(across.at(*peak).max(BARS_FROM + 1.0) + 5.0)) y=(y + 9.5) { (format!("{peak:.3} %")) }
                    } @else {
                        text class="soft" x=(BARS_FROM) y=(y + 9.5) { "not seen" }
                    }
                }
            }
        }
    };
    let title = "Regular wavering by its rate, percent of speed";
    Some(Picture::new(
        name,
        title,
        said.join("; "),
        [WIDTH, height],
        drawn,
    ))
}

fn words((part, rate, peaks): &ShownLine, sides: &[Side]) -> String {
    let each = [Side::Before, Side::After].into_iter().zip(peaks);
    let said: Vec<String> = each
        .filter(|(side, _)| sides.contains(side))
        .map(|(side, peak)| match peak {
            Some(peak) => format!("{} {peak:.3} %", side.word()),
            None => format!("{} not seen", side.word()),
        })
        .collect();
    format!("{part}, {rate}: {}", said.join(", "))
}

//! The speed while the trimmer was turned through its range, with its bad
//! places.

use maud::{Markup, html};

use super::Picture;
use super::frame::{Frame, n, span};
use crate::readings::SweepReport;
use crate::report::sweep::headline;

const SIZE: [f64; 2] = [440.0, 180.0];

/// Bad places that are marked; more would cover the curve.
const MOST_MARKED: usize = 40;

/// A picture of each check that has one, all on the same axes: a name, and what
/// it is called.
pub fn sweeps(checks: &[(String, String, &SweepReport)]) -> Vec<Picture> {
    let speeds = |report: &SweepReport| -> Vec<f64> {
        let known = report.picture.speed.iter().flatten();
        known.map(|it| it.0).filter(|it| it.is_finite()).collect()
    };
    let drawn: Vec<_> = checks.iter().filter(|it| speeds(it.2).len() > 1).collect();
    let all = drawn.iter().flat_map(|it| speeds(it.2));
    let Some(up) = span(all.chain([0.0]), 0.5) else {
        return Vec::new();
    };
    let lasts = |report: &SweepReport| report.picture.step.0 * report.picture.speed.len() as f64;
    let longest = drawn.iter().map(|it| lasts(it.2)).fold(1.0, f64::max);
    let frame = Frame::new(SIZE, [0.0, longest], up);
    let each = drawn.into_iter().map(|(name, called, report)| {
        let title = format!("{called}: speed, percent from right");
        Picture::new(name, &title, headline(report), SIZE, curve(&frame, report))
    });
    each.collect()
}

fn curve(frame: &Frame, report: &SweepReport) -> Markup {
    let picture = &report.picture;
    let points = picture.speed.iter().enumerate().map(|(nth, speed)| {
        let time = (nth as f64 + 0.5) * picture.step.0;
        (time, speed.map(|it| it.0))
    });
    let spots: Vec<_> = report
        .bad_spots
        .iter()
        .flat_map(|spot| spot.times.iter().map(|time| [time.0, spot.at.0]))
        .filter(|[time, _]| (0.0..=frame.across.values[1]).contains(time))
        .take(MOST_MARKED)
        .collect();
    html! {
        (frame.figures("%", true))
        (frame.level(0.0, "edge dashed"))
        (frame.seconds())
        @if !spots.is_empty() {
            @let x = frame.size[0] - 12.0;
            (cross(x - 92.0, 13.0))
            text class="words end" x=(x) y="17.5" { "bad place" }
        }
        (frame.curve(points, "after-line"))
        @for [time, speed] in spots {
            (cross(frame.across.at(time), frame.up.within(speed)))
        }
    }
}

fn cross(x: f64, y: f64) -> Markup {
    let [left, right] = [-5.0, 5.0].map(|it| n(x + it));
    let [top, bottom] = [-5.0, 5.0].map(|it| n(y + it));
    html! {
        path class="bad thick" d={ "M" (left) " " (top) "L" (right) " " (bottom) "M" (left) " " (bottom) "L" (right) " " (top) } {}
    }
}

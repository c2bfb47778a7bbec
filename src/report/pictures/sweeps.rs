//! The speed while the trimmer was turned through its range, with its bad
//! places: before cleaning and after it.

use maud::{Markup, html};

use super::Picture;
use super::frame::{Frame, n, span};
use crate::readings::SweepReport;
use crate::report::sweep::headline;

const WIDTH: f64 = 440.0;
const PANEL: f64 = 170.0;

/// Bad places that are marked; more would cover the curve.
const MOST_MARKED: usize = 40;

/// One check, or two under each other on one axis, each with its name; `None` where none has a
/// picture.
pub fn sweeps(name: &str, checks: &[(&str, &SweepReport)]) -> Option<Picture> {
    let speeds = |report: &SweepReport| -> Vec<f64> {
        let known = report.picture.speed.iter().flatten();
        known.map(|it| it.0).filter(|it| it.is_finite()).collect()
    };
    let drawn: Vec<_> = checks
        .iter()
        .filter(|(_, report)| speeds(report).len() > 1)
        .collect();
    let all = drawn.iter().flat_map(|(_, report)| speeds(report));
    let up = span(all.chain([0.0]), 0.5).filter(|_| !drawn.is_empty())?;
    let lasts = |report: &SweepReport| report.picture.step.0 * report.picture.speed.len() as f64;
    let longest = drawn.iter().map(|it| lasts(it.1)).fold(1.0, f64::max);
    let height = PANEL * drawn.len() as f64;
    let panels = drawn.iter().enumerate().map(|(nth, (name, report))| {
        let top = PANEL * nth as f64;
        let between = [top + 34.0, top + PANEL - 24.0];
        let frame = Frame::between([WIDTH, height], between, [0.0, longest], up);
        panel(&frame, top, name, report)
    });
    let said: Vec<String> = drawn
        .iter()
        .map(|(name, report)| format!("{name}: {}", headline(report)))
        .collect();
    let title = "Speed while the trimmer was turned out and back";
    let panels = html! { @for panel in panels { (panel) } };
    Some(Picture::new(
        name,
        title,
        said.join("; "),
        [WIDTH, height],
        panels,
    ))
}

fn panel(frame: &Frame, top: f64, name: &str, report: &SweepReport) -> Markup {
    let picture = &report.picture;
    let points = picture.speed.iter().enumerate().map(|(nth, speed)| {
        let time = (nth as f64 + 0.5) * picture.step.0;
        (time, speed.map(|it| it.0))
    });
    let spots: Vec<_> = report
        .bad_spots
        .iter()
        .flat_map(|spot| spot.times.iter().map(|time| [time.0, spot.at.0]))
        .filter(|[time, _]| frame.across.values[1] >= *time)
        .take(MOST_MARKED)
        .collect();
    html! {
        (frame.figures("%", true))
        (frame.level(0.0, "edge dashed"))
        (frame.seconds())
        text class="words" x=(frame.across.place[0]) y=(top + 17.5) { (name) }
        @if !spots.is_empty() {
            @let x = frame.size[0] - 14.0;
            (cross(x - 92.0, top + 13.0))
            text class="words end" x=(x) y=(top + 17.5) { "bad place" }
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

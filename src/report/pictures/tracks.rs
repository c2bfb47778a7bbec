//! Speed or flutter against time, before and after on one axis.

use maud::{Markup, html};

use super::frame::{Frame, n, span};
use super::{Picture, Side};
use crate::readings::Track;
use crate::units::Percent;

const SIZE: [f64; 2] = [440.0, 180.0];

/// More points than this are joined: paper shows no more.
const MOST_POINTS: usize = 360;

/// Less than this from top to bottom, percent, would make much of nothing.
const LEAST_SPAN: f64 = 0.1;

/// What of a track is shown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Charted {
    /// The speed, with the half width of the zone that is right; `None` where
    /// nothing may be called right.
    Speed(Option<f64>),
    /// The flutter.
    Flutter,
}

/// The tracks of both sides; `None` where there is nothing to draw.
pub fn track(name: &str, tracks: &[(Side, &Track)], charted: Charted) -> Option<Picture> {
    let series = |track: &Track| -> Vec<(f64, Option<f64>)> {
        let values: &[Option<Percent>] = match charted {
            Charted::Speed(_) => &track.speed,
            Charted::Flutter => &track.flutter,
        };
        joined(values, track.step.0)
    };
    let all: Vec<_> = tracks
        .iter()
        .map(|(side, track)| (*side, series(track)))
        .filter(|(_, points)| points.iter().any(|it| it.1.is_some()))
        .collect();
    let values = || all.iter().flat_map(|(_, it)| it).filter_map(|it| it.1);
    // Right, or none at all, is always in sight.
    let mut up = span(values().chain([0.0]), LEAST_SPAN).filter(|_| !all.is_empty())?;
    if charted == Charted::Flutter {
        up[0] = 0.0;
    }
    let last = all.iter().filter_map(|(_, it)| Some(it.last()?.0));
    let across = [0.0, last.fold(1.0, f64::max)];
    let frame = Frame::new(SIZE, across, up);
    let (title, zone) = match charted {
        Charted::Speed(zone) => ("Speed against time, percent from right", zone),
        Charted::Flutter => ("Flutter against time, percent", None),
    };
    let said: Vec<String> = all
        .iter()
        .map(|(side, points)| words(*side, points))
        .collect();
    let drawn = html! {
        @if let Some(half_width) = zone { (frame.zone(half_width)) }
        (frame.figures("%", charted != Charted::Flutter))
        (frame.seconds())
        (key(&all.iter().map(|it| it.0).collect::<Vec<_>>(), false))
        @for (side, points) in &all { (frame.curve(points.iter().copied(), side.curve())) }
    };
    Some(Picture::new(name, title, said.join("; "), SIZE, drawn))
}

fn words(side: Side, points: &[(f64, Option<f64>)]) -> String {
    let known = || points.iter().filter_map(|it| it.1);
    let low = known().fold(f64::INFINITY, f64::min);
    let high = known().fold(f64::NEG_INFINITY, f64::max);
    format!("{}: {low:.2} to {high:.2} %", side.word())
}

/// Which curve is which, or which bar.
pub(super) fn key(sides: &[Side], are_bars: bool) -> Markup {
    html! {
        @for (nth, side) in sides.iter().enumerate() {
            @let x = SIZE[0] - 92.0 * (sides.len() - nth) as f64;
            @if are_bars {
                rect class={ (side.word()) "-mark" } x=(x) y="8" width="30" height="10" {}
            } @else {
                line class={ "thick " (side.curve()) } x1=(x) x2=(x + 30.0) y1="13" y2="13" {}
            }
            text class="words" x=(x + 36.0) y="17.5" { (side.word()) }
        }
    }
}

/// Time and value of each step; of many steps the lowest and the highest of
/// some at once, so that no peak is lost.
fn joined(values: &[Option<Percent>], step_s: f64) -> Vec<(f64, Option<f64>)> {
    let some = (2 * values.len()).div_ceil(MOST_POINTS);
    let time = |nth: usize| (nth as f64 + 0.5) * step_s;
    let finite = |it: &Option<Percent>| it.map(|it| it.0).filter(|it| it.is_finite());
    if values.len() <= MOST_POINTS {
        let each = values.iter().enumerate();
        return each.map(|(nth, it)| (time(nth), finite(it))).collect();
    }
    let mut points = Vec::new();
    for (chunk, values) in values.chunks(some).enumerate() {
        let known = || {
            let each = values.iter().enumerate();
            each.filter_map(|(nth, it)| Some((time(chunk * some + nth), finite(it)?)))
        };
        let by_value = |one: &(f64, f64), other: &(f64, f64)| one.1.total_cmp(&other.1);
        let (Some(low), Some(high)) = (known().min_by(by_value), known().max_by(by_value)) else {
            points.push((time(chunk * some), None));
            continue;
        };
        let [first, second] = if low.0 <= high.0 {
            [low, high]
        } else {
            [high, low]
        };
        points.push((first.0, Some(first.1)));
        if second.0 > first.0 {
            points.push((second.0, Some(second.1)));
        }
    }
    points
}

/// A mark with what it is known to.
pub(super) fn point(
    frame: &Frame,
    [across, up]: [f64; 2],
    known: Option<f64>,
    side: Side,
) -> Markup {
    let (x, y) = (n(frame.across.at(across)), n(frame.up.within(up)));
    html! {
        @if let Some(known) = known {
            @let [low, high] = [up - known, up + known].map(|it| n(frame.up.within(it)));
            line class={ (side.word()) "-line" } x1=(x) x2=(x) y1=(low) y2=(high) {}
        }
        circle class={ (side.word()) "-mark" } cx=(x) cy=(y) r="4" {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    fn of(speed: Vec<Option<f64>>) -> Track {
        Track {
            from: Seconds(0.0),
            step: Seconds(0.1),
            flutter: Vec::new(),
            speed: speed.into_iter().map(|it| it.map(Percent)).collect(),
        }
    }

    #[test]
    fn no_peak_is_lost_in_a_long_track_and_gaps_stay() {
        let mut long: Vec<Option<f64>> = (0..50_000)
            .map(|n| Some((f64::from(n) * 0.3).sin()))
            .collect();
        long[23_456] = Some(7.5);
        long[40_000..45_000].fill(None);
        let track = of(long);
        let points = joined(&track.speed, 0.1);
        assert!(points.len() <= MOST_POINTS + 2, "{}", points.len());
        let peak = points.iter().find(|it| it.1 == Some(7.5)).expect("kept");
        assert!((peak.0 - 2345.65).abs() < 1e-6, "{peak:?}");
        assert!(points.windows(2).all(|it| it[0].0 < it[1].0));
        assert!(points.iter().filter(|it| it.1.is_none()).count() > 5);
    }

    #[test]
    fn where_there_is_nothing_there_is_no_picture() {
        let empty = of(vec![None; 10]);
        let nan = of(vec![Some(f64::NAN)]);
        for track_of in [&Track::default(), &empty, &nan] {
            let both = [(Side::Before, track_of)];
            assert!(track("speed", &both, Charted::Speed(Some(0.5))).is_none());
            assert!(track("flutter", &both, Charted::Flutter).is_none());
        }
        let some = of(vec![Some(-1.2), None, Some(-1.1)]);
        let both = [(Side::Before, &empty), (Side::After, &some)];
        let picture = track("speed", &both, Charted::Speed(Some(0.5))).expect("something");
        assert_eq!(picture.says, "after: -1.20 to -1.10 %");
    }
}

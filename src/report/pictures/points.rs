//! Single figures with their ±: along a tape, against the supply, from year to
//! year.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use maud::{Markup, html};

use super::frame::{Frame, span};
use super::tracks::point;
use super::{Picture, Side};
use crate::readings::{Along, Place, Position};
use crate::references::supply::SupplyPoint;
use crate::report::numbers::with_uncertainty;

const SIZE: [f64; 2] = [440.0, 180.0];
/// One from year to year has a page's width.
const TREND_SIZE: [f64; 2] = [640.0, 240.0];

/// Less than this from top to bottom, percent, would make much of nothing.
const LEAST_SPAN: f64 = 0.1;

/// A speed that was kept on some day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrendPoint {
    /// When.
    pub at: Timestamp,
    /// Before the work or after it.
    pub side: Side,
    /// Percent from right speed.
    pub percent: f64,
    /// 95 % of it.
    pub uncertainty: Option<f64>,
}

/// What is drawn: how far across, percent, its ±.
type Drawn = (f64, f64, Option<f64>, Side);

struct Chart<'a> {
    name: &'a str,
    title: &'a str,
    says: String,
    size: [f64; 2],
    zone: Option<f64>,
    points: Vec<Drawn>,
    under: Vec<(f64, String)>,
}

/// The speed at each place of the tape; `zone` is half of what is right, where
/// that may be said.
pub fn along(name: &str, title: &str, along: &Along, zone: Option<f64>) -> Option<Picture> {
    let places = [Some(along.start), along.middle, Some(along.end)];
    let there = Position::ALL.into_iter().zip(places);
    let there: Vec<(Position, Place)> = there.filter_map(|(at, it)| Some((at, it?))).collect();
    let across = |at: Position| {
        f64::from(u8::from(at > Position::Start)) + f64::from(u8::from(at > Position::Middle))
    };
    let said: Vec<String> = there
        .iter()
        .map(|(at, it)| said(at.name(), it.deviation.0, Some(it.uncertainty.0)))
        .collect();
    let points = there.iter().map(|(at, it)| {
        (
            across(*at),
            it.deviation.0,
            Some(it.uncertainty.0),
            Side::After,
        )
    });
    Chart {
        name,
        title,
        says: said.join("; "),
        size: SIZE,
        zone,
        points: points.collect(),
        under: there
            .iter()
            .map(|(at, _)| (across(*at), at.name().to_owned()))
            .collect(),
    }
    .drawn()
}

/// The speed at each voltage of the supply.
pub fn supply(
    name: &str,
    title: &str,
    points: &[SupplyPoint],
    zone: Option<f64>,
) -> Option<Picture> {
    let mut points = points.to_vec();
    points.sort_by(|one, other| one.volts.total_cmp(&other.volts));
    let said: Vec<String> = points
        .iter()
        .map(|it| {
            said(
                &format!("{} V", it.volts),
                it.deviation.0,
                Some(it.uncertainty.0),
            )
        })
        .collect();
    Chart {
        name,
        title,
        says: said.join("; "),
        size: SIZE,
        zone,
        under: points
            .iter()
            .map(|it| (it.volts, format!("{} V", it.volts)))
            .collect(),
        points: points
            .iter()
            .map(|it| {
                (
                    it.volts,
                    it.deviation.0,
                    Some(it.uncertainty.0),
                    Side::After,
                )
            })
            .collect(),
    }
    .drawn()
}

/// The speed of one machine from job to job, in any order; `title` says which; `half_width` is that
/// of the zone that is right. `None` without a point.
pub fn trend(
    name: &str,
    title: &str,
    points: &[TrendPoint],
    half_width: f64,
    zone: &TimeZone,
) -> Option<Picture> {
    let mut points = points.to_vec();
    points.sort_by_key(|it| it.at);
    let day = |at: Timestamp| {
        at.to_zoned_datetime(zone.clone())
            .strftime("%Y-%m-%d")
            .to_string()
    };
    let across = |at: Timestamp| at.as_second() as f64 / 86_400.0;
    let said: Vec<String> = points
        .iter()
        .map(|it| {
            said(
                &format!("{} {}", day(it.at), it.side.word()),
                it.percent,
                it.uncertainty,
            )
        })
        .collect();
    // First and last day are told whatever lies between.
    let ends = [points.last(), points.first()].into_iter().flatten();
    let mut days: Vec<(f64, String)> = ends
        .chain(&points)
        .map(|it| (across(it.at), day(it.at)))
        .collect();
    days.dedup_by(|one, other| one.1 == other.1);
    Chart {
        name,
        title,
        says: said.join("; "),
        size: TREND_SIZE,
        zone: Some(half_width),
        points: points
            .iter()
            .map(|it| (across(it.at), it.percent, it.uncertainty, it.side))
            .collect(),
        under: days,
    }
    .drawn()
}

fn said(of: &str, percent: f64, known: Option<f64>) -> String {
    format!("{of} {} %", with_uncertainty(percent, known, true))
}

impl Chart<'_> {
    fn drawn(self) -> Option<Picture> {
        let points: Vec<&Drawn> = self.points.iter().filter(|it| it.1.is_finite()).collect();
        let ends = points.iter().flat_map(|(_, percent, known, _)| {
            let known = known.unwrap_or(0.0);
            [percent - known, percent + known]
        });
        let up = span(ends.chain([0.0]), LEAST_SPAN).filter(|_| !points.is_empty())?;
        let across = span(points.iter().map(|it| it.0), 0.1)?;
        let frame = Frame::new(self.size, across, up);
        let mut sides: Vec<Side> = points.iter().map(|it| it.3).collect();
        sides.dedup();
        let drawn = html! {
            @if let Some(half_width) = self.zone { (frame.zone(half_width)) }
            (frame.figures("%", true))
            (frame.under(&self.under))
            @for (across, percent, known, side) in points {
                (point(&frame, [*across, *percent], *known, *side))
            }
            @if sides.len() > 1 { (key_of_points(self.size[0])) }
        };
        Some(Picture::new(
            self.name, self.title, self.says, self.size, drawn,
        ))
    }
}

/// Which mark is which.
fn key_of_points(width: f64) -> Markup {
    html! {
        @for (nth, side) in [Side::Before, Side::After].into_iter().enumerate() {
            @let x = width - 160.0 + 84.0 * nth as f64;
            circle class={ (side.word()) "-mark" } cx=(x) cy="13" r="4" {}
            text class="words" x=(x + 10.0) y="17.5" { (side.word()) }
        }
    }
}

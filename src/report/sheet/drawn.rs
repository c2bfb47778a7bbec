//! The pictures of a sheet.

use jiff::Timestamp;

use super::parts::AlongTape;
use super::plainly;
use super::{LONGEST_NAME, Sheet, Turn, typed};
use crate::readings::{SweepReport, Verdict};
use crate::records::Snapshot;
use crate::references::Tolerance;
use crate::report::comparison::{tolerance, verdict};
use crate::report::lines_changed::paired;
use crate::report::pictures::{self, Charted, Picture, ScaleMark, Side};
use crate::report::{capital, lines};

/// Most that is shown of each.
pub(super) const MOST_TURNS: usize = 6;
pub(super) const MOST_TOLD: usize = 2;
const MOST_LINES: usize = 5;

/// Runs that are told in full: where there are many, only the first.
pub(super) fn most_told(sheet: &Sheet<'_>) -> usize {
    if sheet.turns.len() > MOST_TOLD {
        1
    } else {
        MOST_TOLD
    }
}

/// "speed", "speed-2": pictures of the second run have its number.
fn numbered(name: &str, nth: usize) -> String {
    match nth {
        0 => name.to_owned(),
        _ => format!("{name}-{}", nth + 1),
    }
}

pub(super) fn sided<'a>(turn: &Turn<'a>) -> impl Iterator<Item = (Side, &'a Snapshot)> + use<'a> {
    let before = turn.pair.before.map(|it| (Side::Before, it));
    before
        .into_iter()
        .chain(turn.pair.after.map(|it| (Side::After, it)))
}

/// The first picture of each run: where it stood and where it stands.
pub(super) fn scales(sheet: &Sheet<'_>) -> Vec<Picture> {
    let scale = |(nth, turn): (usize, &Turn<'_>)| {
        let band = turn.band();
        let marks = sided(turn).map(|(side, it)| mark(side, it, band));
        let marks: Vec<ScaleMark> = marks.collect();
        let title = turn
            .name
            .clone()
            .unwrap_or_else(|| "Speed before and after".to_owned());
        let half_width = band.half_width.0;
        pictures::scale(&numbered("scale", nth), &title, &marks, half_width)
    };
    let turns = sheet.turns.iter().take(MOST_TURNS);
    turns.enumerate().map(scale).collect()
}

/// All that there are, in order.
pub(super) fn pictures(sheet: &Sheet<'_>) -> Vec<Picture> {
    scales(sheet).into_iter().chain(drawn(sheet)).collect()
}

/// All pictures but the first.
pub(super) fn drawn(sheet: &Sheet<'_>) -> Vec<Picture> {
    let mut drawn = Vec::new();
    for (nth, turn) in sheet.turns.iter().take(most_told(sheet)).enumerate() {
        let of_turn = against_time(nth, turn).chain(wavering(nth, turn));
        drawn.extend(of_turn.map(|it| of_run(it, sheet, turn)));
    }
    let numbered = |(nth, (called, _, it))| (numbered("wiper", nth), capital(called), it);
    let checks: Vec<_> = checks(sheet).enumerate().map(numbered).collect();
    drawn.extend(pictures::sweeps(&checks));
    if let Some(it) = &sheet.along {
        let title = format!("Speed {}, percent", where_along(sheet, it));
        let picture = pictures::along("along", &title, &it.along, zone(it.of));
        drawn.extend(picture);
    }
    if let Some(it) = &sheet.supply {
        let when = sheet.when(it.of);
        let title = format!("Speed against the supply, {when}, percent");
        drawn.extend(pictures::supply("supply", &title, &it.points, zone(it.of)));
    }
    drawn
}

fn against_time(nth: usize, turn: &Turn<'_>) -> impl Iterator<Item = Picture> {
    let tracks: Vec<_> = sided(turn)
        .filter_map(|(side, it)| Some((side, it.measurement.track.as_ref()?)))
        .collect();
    let zones: Option<Vec<f64>> = turn.pair.each().map(zone).collect();
    let zone = zones.and_then(|it| it.last().copied());
    let speed = pictures::track(&numbered("speed", nth), &tracks, Charted::Speed(zone));
    let flutter = pictures::track(&numbered("flutter", nth), &tracks, Charted::Flutter);
    speed.into_iter().chain(flutter)
}

/// Which places of the tape they are, and when they were measured.
pub(super) fn where_along(sheet: &Sheet<'_>, it: &AlongTape<'_>) -> String {
    if it.is_of_record {
        let lasted = it.of.measurement.duration.0;
        format!(
            "in the thirds of a record of {lasted:.0} s, {}",
            it.of.label
        )
    } else {
        format!("at places of the tape, {}", sheet.when(it.of))
    }
}

/// The zone that is right; `None` where nothing may be called so.
fn zone(snapshot: &Snapshot) -> Option<f64> {
    let is_judged = !matches!(verdict(snapshot), Verdict::MadeHere | Verdict::WhichTone);
    is_judged.then(|| tolerance(snapshot).half_width.0)
}

/// A picture says of which run it is, where there are several.
fn of_run(mut picture: Picture, sheet: &Sheet<'_>, turn: &Turn<'_>) -> Picture {
    if let Some(name) = turn.name.clone().filter(|_| sheet.turns.len() > 1) {
        picture.title = format!("{}, {name}", picture.title);
    }
    picture
}

fn wavering(nth: usize, turn: &Turn<'_>) -> Option<Picture> {
    let looked = sided(turn).filter(|(_, it)| it.measurement.lines.is_some());
    let sides: Vec<Side> = looked.map(|it| it.0).collect();
    let shown: Vec<_> = paired(turn.pair.before, turn.pair.after)
        .into_iter()
        .take(MOST_LINES)
        .filter_map(|[was, is]| {
            let (all, line) = is.or(was)?;
            let part = typed(&lines::short(all, line), LONGEST_NAME);
            let rate = format!("{} turns a second", lines::rate(line));
            Some((part, rate, [was, is].map(|it| Some(it?.1.peak.0))))
        })
        .collect();
    pictures::lines(&numbered("lines", nth), &sides, &shown)
}

fn mark(side: Side, snapshot: &Snapshot, band: Tolerance) -> ScaleMark {
    let said = plainly::of(snapshot, band);
    ScaleMark {
        side,
        words: said.short,
        percent: said.percent.map(|it| it.0),
        uncertainty: said.percent.and_then(|it| it.1),
    }
}

/// The checks of the wiper with a name each.
pub(super) fn checks<'a>(
    sheet: &'a Sheet<'a>,
) -> impl Iterator<Item = (&'static str, Timestamp, &'a SweepReport)> {
    let names = match sheet.wipers.len() {
        1 => &["wiper check"][..],
        _ => &["first wiper check", "last wiper check"],
    };
    let both = names.iter().zip(&sheet.wipers);
    both.map(|(name, (at, report))| (*name, *at, *report))
}

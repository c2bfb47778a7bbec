//! Windows along a long record, and the lines that they have in common.

use super::course::{Point, chirp, course};
use super::look::{Look, LookLine};
use crate::readings::wavering::{FlutterLine, LineAt};
use crate::signal::statistics::{median, student_95};
use crate::units::{Hertz, Percent, Seconds};

/// A line that stands in two windows need stand out of each no further than
/// this. Tuned on noise of six colours, judged on other seeds: what looks every
/// few seconds find twice, half a window apart, stays below.
pub const TWICE: f64 = 3.5;

/// One that stands out this far is a line in whatever part of the record it
/// stands. Tuned likewise.
pub const SURELY: f64 = 4.3;

/// Two windows have a line in common when its rates, as parts of the speed,
/// differ by less than this, or by less than what is known of them. A choice.
const ALIKE: f64 = 0.003;
const ALIKE_SD: f64 = 3.0;

/// Below this rate lines may be those of reels, and differ by so much from
/// window to window.
const REELS_BELOW_HZ: f64 = 1.5;
const REELS_ALIKE: f64 = 0.12;

/// A line in the windows that have it, by their places.
struct Group<'a> {
    members: Vec<(usize, &'a LookLine)>,
}

/// The lines that windows have in common, each with how it went.
pub fn common(windows: &[Look]) -> Vec<FlutterLine> {
    let groups = linked(windows);
    groups
        .iter()
        .filter(|group| group.counts(windows.len()))
        .map(|group| group.line(windows))
        .collect()
}

/// How a line of the newest look went over the windows before.
pub fn with_past(line: &LookLine, look: &Look, windows: &[Look]) -> FlutterLine {
    let mut reading = line.reading();
    if windows.len() < 2 {
        return reading;
    }
    let mine = |group: &&Group| {
        let (window, last) = group.members[group.members.len() - 1];
        alike(last, &windows[window], line, look).is_some()
    };
    if let Some(group) = linked(windows).iter().find(mine) {
        let long = group.line(windows);
        reading.course = long.course;
        reading.windows = long.windows;
        reading.chirp = reading.chirp.or(long.chirp);
    }
    reading
}

/// True where another look has the line too.
pub fn has(other: &Look, line: &LookLine, look: &Look) -> bool {
    let mut others = other.lines.iter();
    others.any(|it| alike(it, other, line, look).is_some())
}

/// By how much two lines differ, in parts of their rates at one speed; `None`
/// where they are not the same.
fn alike(a: &LookLine, of_a: &Look, b: &LookLine, of_b: &Look) -> Option<f64> {
    let keeps = a.sine.keeps_rate || b.sine.keeps_rate;
    let speed = if keeps {
        1.0
    } else {
        of_b.mean_hz / of_a.mean_hz
    };
    let apart = (b.sine.hz / a.sine.hz / speed).ln().abs();
    let known = ALIKE_SD * (a.sine.hz_sd / a.sine.hz).hypot(b.sine.hz_sd / b.sine.hz);
    let seconds = of_a.seconds.min(of_b.seconds);
    let most = if b.sine.hz < REELS_BELOW_HZ {
        REELS_ALIKE
    } else {
        known.max(ALIKE).max(1.0 / (b.sine.hz * seconds))
    };
    (apart < most).then_some(apart)
}

/// Each line of each window goes to the group whose newest member is nearest.
fn linked(windows: &[Look]) -> Vec<Group<'_>> {
    let mut groups: Vec<Group> = Vec::new();
    for (nth, window) in windows.iter().enumerate() {
        for line in &window.lines {
            let nearest = groups
                .iter_mut()
                .filter_map(|group| {
                    let &(last, member) = group.members.last()?;
                    if last == nth {
                        return None;
                    }
                    Some((alike(member, &windows[last], line, window)?, group))
                })
                .min_by(|a, b| a.0.total_cmp(&b.0));
            match nearest {
                Some((_, group)) => group.members.push((nth, line)),
                None => groups.push(Group {
                    members: vec![(nth, line)],
                }),
            }
        }
    }
    groups
}

impl Group<'_> {
    fn counts(&self, windows: usize) -> bool {
        let sure = self.members.iter();
        let sure = sure.filter(|(_, line)| line.above() > SURELY).count();
        self.members.len() >= 2 && (2 * self.members.len() > windows || sure >= 2)
    }

    fn line(&self, windows: &[Look]) -> FlutterLine {
        let (_, newest) = self.members[self.members.len() - 1];
        let mut line = newest.reading();
        let mut peaks: Vec<f64> = self.members.iter().map(|(_, it)| it.sine.peak).collect();
        let count = peaks.len() as f64;
        let mean = peaks.iter().sum::<f64>() / count;
        let square: f64 = peaks.iter().map(|peak| (peak - mean).powi(2)).sum();
        let scatter = (square / (count - 1.0).max(1.0) / count).sqrt();
        let known = student_95(count - 1.0) * scatter;
        line.peak = Percent(median(&mut peaks).unwrap_or(mean));
        line.peak_uncertainty = Percent(line.peak_uncertainty.0.max(known));
        let shares = self.members.iter().map(|(_, it)| it.share);
        line.weighted_share = shares.sum::<f64>() / windows.len() as f64;
        line.windows = self
            .members
            .iter()
            .map(|(nth, it)| LineAt {
                at: Seconds(windows[*nth].middle_s),
                hz: Hertz(it.sine.hz),
                peak: Percent(it.sine.peak),
            })
            .collect();
        let window_s = windows[0].seconds;
        line.course = course(&self.points(windows), window_s);
        let orders = self.members.iter().map(|(nth, it)| {
            let window = &windows[*nth];
            [window.middle_s, it.sine.hz / window.mean_hz]
        });
        let moves = chirp(&orders.collect::<Vec<_>>(), window_s);
        line.chirp = moves.filter(|_| line.hz.0 < REELS_BELOW_HZ).or(line.chirp);
        line
    }

    /// Of every window that reaches it; where it is not, as much as could hide.
    fn points(&self, windows: &[Look]) -> Vec<Point> {
        let hz = self.members[self.members.len() - 1].1.sine.hz;
        let point = |(nth, window): (usize, &Look)| {
            let here = self.members.iter().find(|(other, _)| *other == nth);
            let [peak, peak_sd] = match here {
                Some((_, line)) => [line.sine.peak, line.sine.peak_sd],
                None => [window.hidden_peak(hz)?; 2],
            };
            Some(Point {
                at_s: window.middle_s,
                peak,
                peak_sd,
            })
        };
        windows.iter().enumerate().filter_map(point).collect()
    }
}

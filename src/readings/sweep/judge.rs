//! From a track to a verdict.

use super::backlash::{backlash, up_less_down};
use super::bank::{Trace, traces};
use super::claims::{Claim, Compared};
use super::evidence::{ASKED_OF_LAG, Agreement, BINS, Peak, Scale, Scores};
use super::kinds::{Passage, crackles, kind_of};
use super::lines::without_lines;
use super::passes::{Way, extent, ways};
use super::recorder::pictured;
use super::series::{RATE_HZ, Series, running_mean, running_median};
use super::stands::{Stand, dead_places, stands};
use super::whitening::Whitening;
use super::{BadSpot, Direction, Pass, SpotKind, SpotSeen, SweepReport, SweepVerdict, Unclear};
use crate::signal::statistics::{median, robust_sigma};
use crate::units::{Percent, Seconds};

/// A speed that moves by less in percent was not swept.
const LEAST_RANGE: f64 = 1.5;
/// Less tone than this share of the time says nothing.
const LEAST_HEARD: f64 = 0.8;
const SHORTEST_S: f64 = 2.0;
/// Seconds of the rest after the last way that belong to the picture.
const SHOWN_AFTER_S: f64 = 4.0;
/// A way through most of the range in less time is too fast for a transport.
const QUICKEST_WAY_S: f64 = 1.2;
/// A way through this share of the range is a whole one.
const WHOLE_WAY: f64 = 0.6;
/// Share of the range that is passed twice at least; the rest is left to ends
/// that a hand does not reach alike.
const LEAST_TWICE: f64 = 0.85;
/// A way goes through at least this share of the range.
const LEAST_WAY: f64 = 0.35;
/// This share of the range at either end of a way is left to the turning.
const TURNING_SHARE: f64 = 0.04;

/// A third of a second of dwell and the longest lag, as indices of the bank.
const USUAL_PATTERN: [usize; 2] = [2, 2];
/// Of the normal distribution, nine tenths lie above minus this: derived.
const NINE_IN_TEN: f64 = 1.28;

/// Half the band where nobody has said another one, in percent: a deck's;
/// common practice, no source.
const USUAL_BAND: f64 = 0.5;

/// Judges the track of a whole sweep: deviations in percent, `rate_hz` a
/// second (50 or more), no number where there was no tone.
pub fn judge_track(track_percent: &[f64], rate_hz: f64) -> SweepReport {
    judge_track_within(track_percent, rate_hz, Percent(USUAL_BAND))
}

/// The same for another tolerance band, by half its width.
pub fn judge_track_within(track_percent: &[f64], rate_hz: f64, band: Percent) -> SweepReport {
    let mut report = SweepReport {
        lasted: Seconds(track_percent.len() as f64 / rate_hz),
        picture: pictured(track_percent, rate_hz),
        band: Some(band),
        ..SweepReport::unclear(Unclear::NoTone)
    };
    match Sweep::of(track_percent, rate_hz) {
        Err(unclear) => report.unclear = Some(unclear),
        Ok(sweep) => sweep.judge(&mut report, band),
    }
    // A long rest after the sweep would leave no room for it.
    let shown = report.passes.last().map(|last| last.to.0 + SHOWN_AFTER_S);
    if let Some(end) = shown.map(|end| (end * rate_hz) as usize)
        && end < track_percent.len()
    {
        report.picture = pictured(&track_percent[..end], rate_hz);
    }
    report
}

/// Seconds about a spot, on both ways, in which it leaves something beside
/// itself in the traces,
const ONE_PASSAGE_S: f64 = 1.2;
/// and in which it echoes with the other sign.
const ECHO_S: f64 = 2.2;
/// Depths in percent below this are not worth showing.
const LEAST_SHOWN: f64 = 0.08;
/// A leap of less than this part of half the band does not matter: a speed set
/// within the inner two thirds stays inside with it. Derived.
const MATTERS_SHARE: f64 = 1.0 / 3.0;
/// A pattern takes the mean of a spot, and the lag hides its top: this part of
/// the depth shows at most. Tuned, `--bench sweep`, its usual seeds.
const SHOWS_SHARE: f64 = 0.8;
/// Nobody is accused of less than this in percent, however narrow the band: a
/// hand that beats once a second feigns as much. Tuned likewise.
const LEAST_ACCUSED: f64 = 0.13;

/// The least depth in percent, as it shows, that a wiper is accused of.
fn least_accused(band: Percent) -> f64 {
    (MATTERS_SHARE * SHOWS_SHARE * band.0).max(LEAST_ACCUSED)
}

/// A sweep is blind from here on: a leap through the whole band may be hidden.
/// With a narrower band than a deck's no hand would ever sweep well enough, so
/// that a report says from where on it saw.
fn blind_from(band: Percent) -> f64 {
    2.0 * band.0.max(USUAL_BAND)
}

/// A spot, and how deep in percent it may be, by which it is accused; `None`
/// where it has no depth.
type Candidate = (BadSpot, Option<f64>);

/// What matters is bad, near right speed first; the rest is slight.
fn sort_out(report: &mut SweepReport, found: Vec<Candidate>, least: f64) {
    for (spot, depth) in found {
        if depth.is_none_or(|depth| depth >= least) {
            report.bad_spots.push(spot);
        } else {
            report.slight_spots.push(spot);
        }
    }
    report
        .bad_spots
        .sort_by_key(|spot| !spot.is_near_right_speed());
}

/// Spots nearer to each other than this in percent are one.
fn apart(range: f64) -> f64 {
    (0.06 * range).max(1.0)
}

/// What is left of the flutter in a track without its lines, from peak to
/// peak in percent: four standard deviations, by the median so that neither
/// hand nor fault counts.
fn left_of_flutter(clean: &[f64]) -> f64 {
    let short = running_mean(clean, (0.08 * RATE_HZ) as usize);
    let long = running_mean(clean, (0.3 * RATE_HZ) as usize);
    let apart = short.iter().zip(&long).map(|(a, b)| a - b);
    4.0 * robust_sigma(apart).unwrap_or_default()
}

/// The depth at which nine spots in ten of short dwell and long lag pass the
/// limit, the errors being what they usually are in this sweep.
fn smallest_seen(
    traces: &[Trace],
    whitening: &Whitening,
    marked: &[bool],
    limits: &mut [f64],
) -> Option<Percent> {
    let usual = traces
        .iter()
        .find(|trace| [trace.dwell, trace.lag] == USUAL_PATTERN)?;
    let mut scales: Vec<f64> = (0..marked.len())
        .filter(|&k| marked[k])
        .map(|k| whitening.scale_at(k))
        .collect();
    let limit = ASKED_OF_LAG[usual.lag] * median(limits)?;
    // Two equal scores add up to √2 times one of them; each has errors of 1.
    let score = limit / std::f64::consts::SQRT_2 + NINE_IN_TEN;
    Some(Percent(usual.depth * score * median(&mut scales)?))
}

/// What spots are found with.
struct Evidence<'a> {
    whitening: &'a Whitening,
    traces: &'a [Trace],
    mean: &'a [f64],
    flutter: f64,
}

impl Evidence<'_> {
    /// Mean depth in percent of a spot on two ways, and how deep it may be: a
    /// contact that changes is not met alike twice, and where the ways differ
    /// by more than their errors, the next may differ by as much again.
    fn depth(&self, claim: &Claim) -> [f64; 2] {
        // A score has errors of 1.
        let of = |(pattern, peak): (usize, Peak)| {
            let error = self.traces[pattern].depth * self.whitening.scale_at(peak.at);
            (error * peak.score, error)
        };
        let [(one, one_error), (other, other_error)] = claim.agreement.sides.map(of);
        let differ = ((one - other).abs() - one_error.hypot(other_error)).max(0.0);
        [f64::midpoint(one, other), one.max(other) + differ]
    }
}

struct Sweep {
    series: Series,
    smooth: Vec<f64>,
    scale: Scale,
    ways: Vec<Way>,
}

impl Sweep {
    fn of(track: &[f64], rate_hz: f64) -> Result<Self, Unclear> {
        let series = Series::of(track, rate_hz).ok_or(Unclear::NoTone)?;
        if (series.values.len() as f64) < SHORTEST_S * RATE_HZ {
            return Err(Unclear::TooShort);
        }
        let median = running_median(&series.values, (0.16 * RATE_HZ) as usize);
        let smooth = running_mean(&median, (0.14 * RATE_HZ) as usize);
        let [low, high] = extent(&smooth);
        let mut ways = ways(&smooth, high - low);
        ways.retain(|way| way.through(&smooth) >= LEAST_WAY * (high - low));
        Ok(Self {
            series,
            scale: Scale { low, high },
            ways,
            smooth,
        })
    }

    fn judge(&self, report: &mut SweepReport, band: Percent) {
        let range = self.range();
        let ends = [Percent(self.scale.low), Percent(self.scale.high)];
        report.range = (range >= LEAST_RANGE).then_some(ends);
        report.passes = self.ways.iter().map(|way| self.pass(way)).collect();
        report.unclear = self.why_unclear(range);
        if range < LEAST_RANGE || self.ways.is_empty() {
            return;
        }
        let found = self.find_spots(report);
        sort_out(report, found, least_accused(band));
        report.verdict = if !report.bad_spots.is_empty() {
            report.unclear = None;
            SweepVerdict::Erratic
        } else if report.unclear.is_some() {
            SweepVerdict::Unclear
        } else if report.is_near_end() {
            SweepVerdict::NearEnd
        } else if report
            .smallest_seen
            .is_none_or(|least| least.0 > blind_from(band))
        {
            report.unclear = Some(Unclear::Blind);
            SweepVerdict::Unclear
        } else {
            SweepVerdict::Smooth
        };
    }

    fn pass(&self, way: &Way) -> Pass {
        Pass {
            from: self.time(way.from),
            to: self.time(way.to),
            direction: Direction::of(way.up),
        }
    }

    fn why_unclear(&self, range: f64) -> Option<Unclear> {
        if range < LEAST_RANGE {
            return Some(Unclear::HardlyMoved);
        }
        if self.series.heard_share() < LEAST_HEARD {
            return Some(Unclear::ToneLost);
        }
        if self.ways.len() < 2 {
            return Some(Unclear::OneWay);
        }
        if self.swept_twice() < LEAST_TWICE {
            return Some(Unclear::PartOnce);
        }
        // From the middle to the first end it may go quickly.
        let whole = |way: &&Way| way.through(&self.smooth) >= WHOLE_WAY * range;
        let too_fast = |&way: &Way| way.inner(&self.smooth, 0.1 * range).seconds() < QUICKEST_WAY_S;
        let mut whole = self.ways.iter().filter(whole);
        whole.any(too_fast).then_some(Unclear::TooFast)
    }

    /// Share of the range that at least two ways went through.
    fn swept_twice(&self) -> f64 {
        let mut times = [0; BINS];
        for way in &self.ways {
            let [a, b] = [self.smooth[way.from], self.smooth[way.to]];
            for (bin, times) in times.iter_mut().enumerate() {
                let at = self.scale.percent(bin);
                *times += u32::from(a.min(b) <= at && at <= a.max(b));
            }
        }
        times.iter().filter(|times| **times >= 2).count() as f64 / BINS as f64
    }

    fn find_spots(&self, report: &mut SweepReport) -> Vec<Candidate> {
        let range = self.range();
        let ways = || self.ways.iter().copied();
        let inners: Vec<Way> = ways()
            .map(|way| way.inner(&self.smooth, TURNING_SHARE * range))
            .collect();
        let marked = self.moving(&inners);
        let shortest = ways().map(Way::seconds).fold(f64::INFINITY, f64::min);
        let reach_s = (0.1 * shortest).clamp(0.6, 1.4);
        let clean = without_lines(&self.series.values, &self.series.heard, reach_s);
        let (whitening, white) = Whitening::learn(&clean, &marked, reach_s);
        let traces = traces(&whitening, &white, &marked);
        let mean = running_mean(&clean, (0.06 * RATE_HZ) as usize);
        let scores: Vec<Scores> = inners
            .iter()
            .map(|&inner| Scores::of(&traces, inner, &mean, self.scale))
            .collect();
        let pace = self.pace(&inners);
        let mut compared = Compared::of(&self.ways, &scores, &traces, self.scale, pace);
        report.evidence = compared.evidence;
        report.smallest_seen = smallest_seen(&traces, &whitening, &marked, &mut compared.limits);
        let evidence = Evidence {
            whitening: &whitening,
            traces: &traces,
            mean: &mean,
            flutter: self.flutter(&whitening),
        };
        let mut found = self.note(report, &evidence, compared.claims);
        self.look_for_dead_places(&mut found, &clean, &inners, pace);
        self.listen_at_rest(&mut found, &traces);
        found
    }

    /// The speed stands at the same place on several ways.
    fn look_for_dead_places(
        &self,
        found: &mut Vec<Candidate>,
        clean: &[f64],
        inners: &[Way],
        pace: f64,
    ) {
        let range = self.range();
        let flutter = left_of_flutter(clean);
        let stands: Vec<Vec<Stand>> = inners
            .iter()
            .map(|&inner| stands(clean, inner, flutter, pace))
            .collect();
        for dead in dead_places(&stands, range, flutter) {
            let near = |(spot, _): &Candidate| (spot.at.0 - dead.at).abs() < apart(range);
            if found.iter().any(near) {
                continue;
            }
            let spot = BadSpot {
                at: Percent(dead.at),
                depth: None,
                kind: SpotKind::Dead,
                seen: SpotSeen::Both,
                times: dead.seen.iter().map(|it| self.time(it.middle())).collect(),
            };
            found.push((spot, None));
        }
    }

    /// The speed leaps while nobody turns.
    fn listen_at_rest(&self, found: &mut Vec<Candidate>, traces: &[Trace]) {
        let turned_at = self.ways.first().map_or(0, |way| way.to);
        for crackle in crackles(&self.series.values, &self.series.heard, traces) {
            if crackle.depth.abs() < LEAST_SHOWN {
                continue;
            }
            let spot = BadSpot {
                at: Percent(crackle.at),
                depth: Some(Percent(crackle.depth)),
                kind: SpotKind::Crackle,
                seen: match (crackle.from < turned_at, crackle.to > turned_at) {
                    (true, true) if self.ways.len() > 1 => SpotSeen::Both,
                    (true, _) => SpotSeen::Out,
                    (false, _) => SpotSeen::Back,
                },
                times: vec![self.time(crackle.leap)],
            };
            found.push((spot, Some(crackle.depth.abs())));
        }
    }

    fn time(&self, at: usize) -> Seconds {
        Seconds(at as f64 / RATE_HZ + self.series.start_s)
    }

    /// What wow and flutter do from peak to peak in a moment, in percent.
    fn flutter(&self, whitening: &Whitening) -> f64 {
        let errors = self
            .series
            .values
            .iter()
            .zip(running_mean(&self.series.values, (0.3 * RATE_HZ) as usize))
            .map(|(value, mean)| value - mean);
        let usual = robust_sigma(errors).unwrap_or_default();
        (4.0 * usual).max(4.0 * whitening.scale_at(0))
    }

    /// Usual speed of the sweep in percent a second.
    fn pace(&self, inners: &[Way]) -> f64 {
        let (mut way, mut time) = (0.0, 0.0);
        for inner in inners {
            way += inner.through(&self.smooth);
            time += inner.seconds();
        }
        way / time.max(1.0 / RATE_HZ)
    }

    /// Which values lie between the ends of the sweep and were heard.
    fn moving(&self, inners: &[Way]) -> Vec<bool> {
        let mut marked = vec![false; self.smooth.len()];
        for inner in inners {
            marked[inner.from..inner.to].fill(true);
        }
        for (marked, heard) in marked.iter_mut().zip(&self.series.heard) {
            *marked &= heard;
        }
        marked
    }

    /// Writes down what was found, the strongest first; what a spot leaves
    /// beside itself in the traces is no other one.
    fn note(
        &self,
        report: &mut SweepReport,
        evidence: &Evidence,
        mut left: Vec<Claim>,
    ) -> Vec<Candidate> {
        // Ways in opposite directions place a spot better, for what it leaves
        // before and after itself lies on different sides there.
        left.sort_by(|a, b| {
            let opposite = b.is_opposite().cmp(&a.is_opposite());
            opposite.then(b.evidence.total_cmp(&a.evidence))
        });
        let mut known: Vec<(f64, f64)> = Vec::new();
        let mut apart_by = Vec::new();
        let mut found = Vec::new();
        for claim in left {
            let Agreement {
                bin, sides, sign, ..
            } = claim.agreement;
            let at = self.scale.percent(bin);
            let within = |other: f64, seconds: f64| {
                let passes = |(_, peak): &(usize, Peak)| self.passes_near(peak.at, other, seconds);
                sides.iter().all(passes)
            };
            let beside = |&(other, other_sign): &(f64, f64)| {
                (other - at).abs() < apart(self.range())
                    || within(other, ONE_PASSAGE_S)
                    || (sign * other_sign < 0.0 && within(other, ECHO_S))
            };
            if known.iter().any(beside) {
                continue;
            }
            let [depth, at_most] = evidence.depth(&claim);
            if depth >= LEAST_SHOWN {
                known.push((at, sign));
                found.push((self.spot(evidence, &claim, at, depth), Some(at_most)));
                apart_by.extend(up_less_down(&claim, evidence.traces, evidence.mean));
            }
        }
        report.backlash = backlash(apart_by);
        found
    }

    /// Whether the trimmer passed this speed within `seconds` of `at`.
    fn passes_near(&self, at: usize, percent: f64, seconds: f64) -> bool {
        let reach = (seconds * RATE_HZ) as usize;
        let near = &self.smooth[at.saturating_sub(reach)..(at + reach).min(self.smooth.len())];
        let [low, high] = extent(near);
        (low..=high).contains(&percent)
    }

    fn spot(&self, evidence: &Evidence, claim: &Claim, at: f64, depth: f64) -> BadSpot {
        let sides = claim.agreement.sides;
        let values = &self.series.values;
        let passages = [0, 1].map(|side| {
            let (pattern, peak) = sides[side];
            let trace = &evidence.traces[pattern];
            Passage::of(trace, peak.at, claim.ways[side], values.len())
        });
        BadSpot {
            at: Percent(at),
            depth: Some(Percent(claim.agreement.sign * depth)),
            kind: kind_of(&passages, values, depth, evidence.flutter),
            seen: SpotSeen::Both,
            times: sides.map(|(_, peak)| self.time(peak.at)).to_vec(),
        }
    }

    fn range(&self) -> f64 {
        self.scale.high - self.scale.low
    }
}

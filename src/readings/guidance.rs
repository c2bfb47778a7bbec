//! Guidance while the trimmer is turned: where the speed will settle, how it
//! answers to the hand, which way and about how far to turn.
//!
//! The program sees the speed, not the screwdriver. Motor and flywheel follow
//! the trimmer with a lag of first order, so the speed will settle at
//! v + τ dv/dt once the hand stops. From one settled mean to the next it sees
//! what a turn has done; how large the turn was it knows only where the
//! technician has said so. It never insists: an answer that contradicts what
//! was learnt makes it forget.

use std::collections::VecDeque;

use super::straying;
use crate::signal::line::Line;
use crate::signal::statistics::quantile;
use crate::units::{Percent, Seconds};

/// Seconds that the straight line lasts whose slope counts.
const SLOPE_S: f64 = 0.2;
/// Length of the track that is remembered, seconds.
const MEMORY_S: f64 = 4.0;
/// A hand is at work when the speed changes faster than this many times what
/// the flutter alone does, and by this much at least.
const TIMES_FLUTTER: f64 = 4.5;
const LEAST_SLOPE_PERCENT_S: f64 = 0.6;
/// What the flutter does is forgotten with this time constant, seconds.
const FLUTTER_MEMORY_S: f64 = 5.0;
/// A slope beyond this many times the usual one counts no more than that, and
/// the first one seen no more than this, in percent a second.
const OUTLIER_TIMES: f64 = 3.0;
const MOST_SLOPE_PERCENT_S: f64 = 2.0;
/// It has to be seen for so long before it tells turning from itself, seconds.
const LEAST_REST_S: f64 = 2.0;
/// A transport's lag before anything is known of this one, and its limits, in
/// seconds; common practice, no source.
const USUAL_LAG_S: f64 = 0.12;
const LAG_LIMITS_S: [f64; 2] = [0.02, 0.4];
/// A hand is last seen at work so long before it lets go: the end of a turn
/// does not stand out from the flutter.
const LETTING_GO_S: f64 = 0.4;
/// Lags after which what is left of a move no longer matters.
const COMING_TO_REST: f64 = 2.0;
/// What the mean creeps away by over a longer time, in seconds, is drift and no
/// hand's doing.
const ANCHOR_S: f64 = 20.0;
/// A move is large enough to teach something.
const LEAST_MOVE: f64 = 0.05;
/// A mean that goes away by this many times its 95 % has been moved, seen or not.
const CREPT_TIMES: f64 = 2.0;
/// It has to stay away for so long, in seconds: until then the mean may still
/// have both sides of the move in it.
const CREPT_FOR_S: f64 = 3.5;
/// A lag is learnt from moves of this size on.
const LAG_MOVE: f64 = 0.5;
/// The tail of a move: this part of it is still to come.
const TAIL: [f64; 2] = [0.1, 0.5];
/// A mean within this part of the band is left alone until it is known.
const LOOKS_RIGHT: f64 = 0.5;
/// What a turn does may differ by this part from one to the next: hands are
/// no protractors, tracks are not linear.
const TURNS_DIFFER: f64 = 0.35;

/// What can be said to the one at the trimmer.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Guidance {
    /// Where the speed will settle if the hand stops now; only while it moves.
    pub heading: Option<Percent>,
    /// That lies beyond the band, on the far side of right.
    pub overshoots: bool,
    /// What to do next; only while the speed is left alone.
    pub advice: Option<Advice>,
    /// What the last turn did whose effect was seen: advice by parts of a
    /// turn speaks of that one, and hands may have turned by less since.
    pub last_move: Option<Percent>,
    /// What an eighth of a turn clockwise does, and its 95 %.
    pub an_eighth: Option<(Percent, Percent)>,
    /// The technician has said that an eighth of a turn comes now.
    pub expects_an_eighth: bool,
    /// What was learnt did not hold and is forgotten.
    pub forgot: bool,
    /// The transport's lag as far as it is known.
    pub lag: Seconds,
}

/// What to do next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Advice {
    /// The mean lies within the band: hands off.
    Leave,
    /// Eighths to turn by, clockwise if positive.
    Eighths(f64),
    /// Turn by this part of the turn that gave [`Guidance::last_move`];
    /// negative is back.
    OfTheLast(f64),
    /// The mean looks right, but is not known well enough yet.
    Wait,
    /// What is left is less than the tape and the clock are known to.
    AsNear,
    /// Nothing is known yet: turn a little and see.
    TryALittle,
}

/// A change from one settled mean to the next.
#[derive(Clone, Copy, Debug)]
struct Move {
    by: f64,
    uncertainty: f64,
}

/// See the module. Deviations in percent, `rate_hz` a second.
pub struct Guide {
    rate_hz: f64,
    values: VecDeque<f64>,
    slopes: VecDeque<f64>,
    /// Mean square of the slope while nobody turns.
    flutter: Option<f64>,
    /// Values that went into it.
    rests: f64,
    lag_s: f64,
    /// The last settled mean and its 95 %.
    settled: Option<(f64, f64)>,
    /// What was settled first after the last move: where a hand creeps unseen,
    /// that is what it has left.
    anchor: Option<(f64, f64)>,
    /// Values since that was so.
    anchored: f64,
    /// Values since the mean has been away from it.
    crept: f64,
    /// The hand has been at work since.
    moved: bool,
    /// Values since the hand was last seen at work.
    rested: f64,
    last: Option<Move>,
    an_eighth: Option<(f64, f64)>,
    expects_an_eighth: bool,
    forgot: bool,
}

impl Guide {
    /// For a tone that was found just now: what came before may have been
    /// another machine's.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            values: VecDeque::new(),
            slopes: VecDeque::new(),
            flutter: None,
            rests: 0.0,
            lag_s: USUAL_LAG_S,
            settled: None,
            anchor: None,
            anchored: 0.0,
            crept: 0.0,
            moved: false,
            rested: 0.0,
            last: None,
            an_eighth: None,
            expects_an_eighth: false,
            forgot: false,
        }
    }

    /// The technician turns an eighth clockwise now, or takes that back.
    pub fn mark_an_eighth(&mut self) {
        self.expects_an_eighth = !self.expects_an_eighth;
    }

    /// How long the speed has been left alone, its coming to rest left out: a
    /// mean over more than this has a turn in it.
    pub fn rested_s(&self) -> f64 {
        let rest_s = LETTING_GO_S + COMING_TO_REST * self.lag_s;
        (self.rested / self.rate_hz - rest_s).max(0.0)
    }

    /// The speed was found to have moved, by a hand too slow or too careful to
    /// stand out from the flutter while it turned.
    pub fn has_moved(&mut self) {
        self.moved = true;
        self.forgot = false;
        self.rested = 0.0;
    }

    /// A value of the track; `settled` is the mean and its 95 % once the speed
    /// is left alone and the mean is known over a whole wow period.
    pub fn push(&mut self, deviation: f64, settled: Option<(f64, f64)>) {
        self.remember(deviation);
        self.rested += 1.0;
        self.anchored += 1.0;
        if let Some(slope) = self.slope().filter(|_| self.is_turning()) {
            self.turns(slope);
        }
        if let (Some(slope), Some(_)) = (self.slope(), settled) {
            self.learn_flutter(slope);
        }
        if let Some((mean, uncertainty)) = settled {
            self.settle(mean, uncertainty);
        }
    }

    /// What can be said now; `tolerance` is half the band, `besides` what the
    /// mean is unsure by besides its scatter: the tape, the clock.
    pub fn guidance(&self, tolerance: Percent, besides: Percent) -> Guidance {
        let heading = self.is_turning().then(|| self.heading()).flatten();
        let overshoots = heading.is_some_and(|heading| {
            let from = self.settled.map_or(0.0, |(mean, _)| mean);
            heading * from < 0.0 && heading.abs() > tolerance.0 && from.abs() > tolerance.0
        });
        Guidance {
            heading: heading.map(Percent),
            overshoots,
            advice: self.advice(tolerance, besides),
            last_move: self.last.map(|last| Percent(last.by)),
            an_eighth: self.an_eighth.map(|(by, u)| (Percent(by), Percent(u))),
            expects_an_eighth: self.expects_an_eighth,
            forgot: self.forgot,
            lag: Seconds(self.lag_s),
        }
    }

    /// The speed changes faster than flutter did so far: a hand is at work, or
    /// the wow has grown. Wow stays where it swung before.
    fn turns(&mut self, slope: f64) {
        let Some(since_s) = self.swings_since_s() else {
            self.has_moved();
            return;
        };
        // Just so fast that this is usual; what a hand does beyond it is not.
        self.flutter = Some((slope / TIMES_FLUTTER).powi(2));
        self.rested = since_s * self.rate_hz;
    }

    /// How long the speed has been swinging, where the newest is no further off
    /// than what came before.
    fn swings_since_s(&self) -> Option<f64> {
        let block = (straying::BLOCK_S * self.rate_hz) as usize;
        let newest_first: Vec<f64> = self.values.iter().rev().copied().collect();
        let means: Vec<f64> = newest_first
            .chunks_exact(block)
            .map(|values| values.iter().sum::<f64>() / block as f64)
            .collect();
        let (newest, before) = means.split_first()?;
        let since_s = straying::swing(before)?.since_s;
        let swung = &before[..=((since_s / straying::BLOCK_S) as usize).min(before.len() - 1)];
        let low = swung.iter().copied().fold(f64::INFINITY, f64::min);
        let high = swung.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (low..=high).contains(newest).then_some(since_s)
    }

    fn remember(&mut self, deviation: f64) {
        let most = (MEMORY_S * self.rate_hz) as usize;
        self.values.push_back(deviation);
        if self.values.len() > most {
            self.values.pop_front();
        }
        let slope = self.fitted().map_or(0.0, |(slope, _)| slope);
        self.slopes.push_back(slope);
        if self.slopes.len() > self.values.len() {
            self.slopes.pop_front();
        }
    }

    /// Slope in percent a second and value at its end, by least squares.
    fn fitted(&self) -> Option<(f64, f64)> {
        let count = (SLOPE_S * self.rate_hz) as usize;
        if self.values.len() < count || count < 3 {
            return None;
        }
        let newest = self.values.iter().rev().take(count).enumerate();
        let line = Line::fitted(newest.map(|(age, value)| [-(age as f64), *value]))?;
        Some((line.slope * self.rate_hz, line.at(0.0)))
    }

    fn slope(&self) -> Option<f64> {
        self.slopes.back().copied()
    }

    fn learn_flutter(&mut self, slope: f64) {
        self.rests += 1.0;
        // A plain mean at first, a leaky one later; a machine that runs up, or
        // a hand, must not pass for much flutter.
        let share = 1.0 / (FLUTTER_MEMORY_S * self.rate_hz).min(self.rests);
        let most = self.flutter.map_or(MOST_SLOPE_PERCENT_S.powi(2), |known| {
            OUTLIER_TIMES * OUTLIER_TIMES * known
        });
        let square = (slope * slope).min(most.max(LEAST_SLOPE_PERCENT_S.powi(2)));
        let known = self.flutter.get_or_insert(square);
        *known += share * (square - *known);
    }

    /// A hand is at work: the speed changes faster than flutter does.
    fn is_turning(&self) -> bool {
        let known = self.rests >= LEAST_REST_S * self.rate_hz;
        let flutter = self.flutter.filter(|_| known);
        let Some((slope, flutter)) = self.slope().zip(flutter) else {
            return false;
        };
        slope.abs() > (TIMES_FLUTTER * flutter.sqrt()).max(LEAST_SLOPE_PERCENT_S)
    }

    /// Where a first-order lag will come to rest.
    fn heading(&self) -> Option<f64> {
        let (slope, value) = self.fitted()?;
        Some(value + self.lag_s * slope)
    }

    /// What is crept away from from now on.
    fn drop_anchor(&mut self, settled: (f64, f64)) {
        self.anchor = Some(settled);
        self.anchored = 0.0;
        self.crept = 0.0;
    }

    fn settle(&mut self, mean: f64, uncertainty: f64) {
        let newest = (mean, uncertainty);
        let anchor = *self.anchor.get_or_insert(newest);
        let latest = self.settled.replace(newest);
        let is_away =
            (mean - anchor.0).abs() > LEAST_MOVE.max(CREPT_TIMES * uncertainty.hypot(anchor.1));
        self.crept = if is_away { self.crept + 1.0 } else { 0.0 };
        let has_crept = self.crept > CREPT_FOR_S * self.rate_hz;
        let before = match (std::mem::take(&mut self.moved), has_crept) {
            (true, _) => latest,
            (false, true) => Some(anchor),
            (false, false) => {
                if self.anchored > ANCHOR_S * self.rate_hz {
                    self.drop_anchor(newest);
                }
                return;
            }
        };
        let Some((from, known)) = before else {
            self.drop_anchor(newest);
            return;
        };
        let turn = Move {
            by: mean - from,
            uncertainty: uncertainty.hypot(known),
        };
        if turn.by.abs() < LEAST_MOVE.max(turn.uncertainty) {
            // Too soon to tell: what it was before is still what counts.
            self.anchor = Some((from, known));
            return;
        }
        self.drop_anchor(newest);
        self.learn_lag(mean, turn);
        self.doubt_eighth(from, turn);
        self.learn_eighth(turn);
        self.last = Some(turn);
    }

    /// Whoever follows the advice comes nearer. A turn that led further away
    /// contradicts it, whether the hand or what was learnt is to blame.
    fn doubt_eighth(&mut self, from: f64, turn: Move) {
        let away = turn.by * from > 0.0 && turn.by.abs() > 2.0 * turn.uncertainty;
        if away && !self.expects_an_eighth && self.an_eighth.take().is_some() {
            self.forgot = true;
        }
    }

    /// In the tail of a move the hand is still and what is left dies away:
    /// τ = left ÷ slope. A hand that still moves makes that larger, so the
    /// smaller ones count. A lag much below the usual one hides behind the
    /// flutter; it matters little then.
    fn learn_lag(&mut self, mean: f64, turn: Move) {
        if turn.by.abs() < LAG_MOVE {
            return;
        }
        let half = (SLOPE_S * self.rate_hz / 2.0) as usize;
        let pairs = self.values.iter().zip(self.slopes.iter().skip(half));
        let mut lags: Vec<f64> = pairs
            .filter_map(|(value, slope)| {
                let left = (mean - value) / turn.by;
                let is_tail = (TAIL[0]..TAIL[1]).contains(&left) && slope * turn.by > 0.0;
                is_tail.then(|| (mean - value) / slope)
            })
            .collect();
        if lags.len() < 4 {
            return;
        }
        if let Some(seen) = quantile(&mut lags, 0.25) {
            let [least, most] = LAG_LIMITS_S;
            self.lag_s = f64::midpoint(self.lag_s, seen.clamp(least, most));
        }
    }

    fn learn_eighth(&mut self, turn: Move) {
        if !std::mem::take(&mut self.expects_an_eighth) {
            return;
        }
        let own = turn.uncertainty.hypot(TURNS_DIFFER * turn.by.abs());
        match self.an_eighth {
            Some((by, known)) if (turn.by - by).abs() > own.hypot(known) => {
                self.an_eighth = None;
                self.forgot = true;
            }
            Some((by, known)) => {
                // Weighted by what is known of each (JCGM 100, annex H).
                let [old, new] = [known.powi(-2), own.powi(-2)];
                let mean = (by * old + turn.by * new) / (old + new);
                self.an_eighth = Some((mean, (old + new).powf(-0.5)));
            }
            None => self.an_eighth = Some((turn.by, own)),
        }
    }

    fn advice(&self, tolerance: Percent, besides: Percent) -> Option<Advice> {
        if self.moved || self.is_turning() {
            return None;
        }
        let (mean, own) = self.settled?;
        if mean.abs() + own.hypot(besides.0) <= tolerance.0 {
            return Some(Advice::Leave);
        }
        if mean.abs() + own > tolerance.0 {
            if mean.abs() <= LOOKS_RIGHT * tolerance.0 {
                return Some(Advice::Wait);
            }
        } else if mean.abs() <= own.max(besides.0) {
            return Some(Advice::AsNear);
        }
        if let Some((by, known)) = self.an_eighth
            && by.abs() > known
        {
            return Some(Advice::Eighths(-mean / by));
        }
        Some(match self.last {
            Some(last) => Advice::OfTheLast(-mean / last.by),
            None => Advice::TryALittle,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 200.0;

    /// A transport with a lag, and a mean that counts as settled a second
    /// after the last turn.
    struct Bench {
        guide: Guide,
        lag_s: f64,
        aim: f64,
        speed: f64,
        since: u32,
        ticks: u32,
    }

    impl Bench {
        fn new(lag_s: f64, speed: f64) -> Self {
            Self {
                guide: Guide::new(RATE_HZ),
                lag_s,
                aim: speed,
                speed,
                since: 1000,
                ticks: 0,
            }
        }

        fn run(&mut self, seconds: f64, pace: f64) -> Vec<Guidance> {
            (0..(seconds * RATE_HZ) as usize)
                .map(|_| {
                    self.aim += pace / RATE_HZ;
                    self.speed += (self.aim - self.speed) / (self.lag_s * RATE_HZ);
                    self.ticks += 1;
                    self.since = if pace == 0.0 { self.since + 1 } else { 0 };
                    let t = f64::from(self.ticks) / RATE_HZ;
                    let wow = 0.06 * (std::f64::consts::TAU * 0.6 * t).sin()
                        + 0.04 * (std::f64::consts::TAU * 6.3 * t).sin();
                    let settled = (self.since > 300).then_some((self.aim, 0.03));
                    self.guide.push(self.speed + wow, settled);
                    self.guide.guidance(Percent(0.1), Percent(0.0))
                })
                .collect()
        }
    }

    #[test]
    fn praise_counts_what_tape_and_clock_are_unsure_by() {
        let mut guide = Guide::new(RATE_HZ);
        let mut said = |mean: f64, besides: f64| {
            guide.push(mean, Some((mean, 0.01)));
            guide.guidance(Percent(0.5), Percent(besides)).advice
        };
        assert_eq!(said(0.1, 0.3), Some(Advice::Leave));
        assert_eq!(said(0.3, 0.0), Some(Advice::Leave));
        // Not in tolerance, and a little nearer it would be.
        assert_eq!(said(0.3, 0.25), Some(Advice::TryALittle));
        // No turn makes this known better.
        assert_eq!(said(0.3, 0.6), Some(Advice::AsNear));
    }

    #[test]
    fn a_steady_machine_gives_no_heading_and_no_warning() {
        let mut bench = Bench::new(0.12, -3.0);
        let said = bench.run(60.0, 0.0);
        assert!(said.iter().all(|it| it.heading.is_none() && !it.overshoots));
        assert_eq!(said[said.len() - 1].advice, Some(Advice::TryALittle));
    }

    #[test]
    fn the_heading_is_where_it_settles() {
        for lag_s in [0.05, 0.12, 0.25] {
            let mut bench = Bench::new(lag_s, -3.0);
            bench.run(8.0, 0.0);
            // Moves that teach the lag.
            for pace in [2.0, -2.0, 2.0, -2.0] {
                bench.run(0.6, pace);
                bench.run(4.0, 0.0);
            }
            let said = bench.run(1.0, 2.0);
            let heading = said[said.len() - 1].heading.expect("it moves").0;
            let ahead = (bench.aim - bench.speed).abs();
            assert!(
                (heading - bench.aim).abs() < (0.45 * ahead).max(0.2),
                "{lag_s}: {heading} for {} (lag {:?})",
                bench.aim,
                said[0].lag
            );
        }
    }

    #[test]
    fn an_overshoot_is_called_before_it_happens() {
        let mut bench = Bench::new(0.25, -3.0);
        bench.run(8.0, 0.0);
        let said = bench.run(1.2, 3.0);
        let called = said.iter().position(|it| it.overshoots);
        let called = called.expect("it goes to +0.6 %");
        // When it is called the speed itself is still short of right.
        let mut again = Bench::new(0.25, -3.0);
        again.run(8.0, 0.0);
        again.run((called + 1) as f64 / RATE_HZ, 3.0);
        assert!(again.speed < 0.0, "{}", again.speed);
        // And never on a turn that stops short.
        let mut short = Bench::new(0.25, -3.0);
        short.run(8.0, 0.0);
        let said = [short.run(0.8, 3.0), short.run(4.0, 0.0)].concat();
        assert!(said.iter().all(|it| !it.overshoots));
    }

    #[test]
    fn a_marked_eighth_gives_the_rest_in_eighths() {
        let mut bench = Bench::new(0.12, -3.0);
        bench.run(8.0, 0.0);
        bench.guide.mark_an_eighth();
        bench.run(0.5, -2.0);
        let said = bench.run(4.0, 0.0);
        let last = said[said.len() - 1];
        let (by, _) = last.an_eighth.expect("it was marked");
        assert!((by.0 + 1.0).abs() < 0.02, "{by:?}");
        // At -4 % now: four eighths the other way.
        assert!(matches!(last.advice, Some(Advice::Eighths(it)) if (it + 4.0).abs() < 0.1));
        // The same eighth with another answer: forgotten, and said.
        bench.guide.mark_an_eighth();
        bench.run(0.5, 2.0);
        let said = bench.run(4.0, 0.0);
        let last = said[said.len() - 1];
        assert!(last.forgot && last.an_eighth.is_none());
    }

    #[test]
    fn advice_that_leads_away_is_forgotten() {
        let mut bench = Bench::new(0.12, -3.0);
        bench.run(8.0, 0.0);
        // Marked as clockwise, but turned the other way.
        bench.guide.mark_an_eighth();
        bench.run(0.5, -2.0);
        let said = bench.run(4.0, 0.0);
        assert!(matches!(said[said.len() - 1].advice, Some(Advice::Eighths(it)) if it < 0.0));
        // Four eighths anticlockwise, as it says: worse.
        bench.run(0.5, -4.0);
        let said = bench.run(4.0, 0.0);
        let last = said[said.len() - 1];
        assert!(last.forgot && last.an_eighth.is_none());
        // At -6 %, the last turn was -2: three times back.
        assert!(matches!(last.advice, Some(Advice::OfTheLast(it)) if (it + 3.0).abs() < 0.1));
    }

    #[test]
    fn a_mean_that_looks_right_is_left_alone_until_it_is_known() {
        let mut guide = Guide::new(RATE_HZ);
        let advice = |guide: &Guide| guide.guidance(Percent(0.1), Percent(0.0)).advice;
        guide.push(0.04, Some((0.04, 0.2)));
        assert_eq!(advice(&guide), Some(Advice::Wait));
        guide.push(0.04, Some((0.04, 0.05)));
        assert_eq!(advice(&guide), Some(Advice::Leave));
        guide.push(0.08, Some((0.08, 0.05)));
        assert_eq!(advice(&guide), Some(Advice::TryALittle));
    }

    #[test]
    fn a_turn_that_was_only_found_afterwards_counts_and_the_rest_begins_then() {
        let mut guide = Guide::new(RATE_HZ);
        for _ in 0..1000 {
            guide.push(-0.5, Some((-0.5, 0.03)));
        }
        assert!(guide.rested_s() > 3.0);
        guide.has_moved();
        assert!(guide.rested_s() < 1e-9);
        guide.push(-0.3, None);
        assert_eq!(guide.guidance(Percent(0.1), Percent(0.0)).advice, None);
        guide.push(-0.3, Some((-0.3, 0.03)));
        let said = guide.guidance(Percent(0.1), Percent(0.0));
        assert!((said.last_move.expect("it moved").0 - 0.2).abs() < 1e-9);
        assert!(matches!(said.advice, Some(Advice::OfTheLast(it)) if (it - 1.5).abs() < 1e-9));
    }

    #[test]
    fn without_marks_it_speaks_of_the_last_turn() {
        let mut bench = Bench::new(0.12, -3.0);
        bench.run(8.0, 0.0);
        bench.run(0.5, -2.0);
        let said = bench.run(4.0, 0.0);
        let last = said[said.len() - 1];
        // It went from -3 to -4: back, four times as far.
        assert!(matches!(last.advice, Some(Advice::OfTheLast(it)) if (it + 4.0).abs() < 0.1));
    }
}

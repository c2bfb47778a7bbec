//! How the speed went over a recording, and which parts of it say something of
//! the machine: a motor that runs up or down does not, nor does a turn of the
//! trimmer.
//!
//! Speeds are relative to the first that was heard. Constant memory, whatever
//! the length: the whole in blocks that are merged as it grows, both ends as
//! fine as they come.

use std::collections::VecDeque;

use crate::signal::line::Sums;
use crate::signal::statistics::{median, quantile};

/// A cell: noise is gone, flutter is not. Lengths and counts of this file are
/// choices, thresholds tuned as said at [`LEFT_AT_LEAST`].
const CELL_S: f64 = 0.01;

/// Cells at either end that are kept.
const END_CELLS: usize = 1000;

/// Blocks of the whole at most; when there are more, neighbours are merged.
const MOST_BLOCKS: usize = 4096;

/// Cells in a needle, by which an end is judged.
const NEEDLE_CELLS: usize = 4;
const NEEDLE_S: f64 = NEEDLE_CELLS as f64 * CELL_S;

/// What the machine does beside an end is told from this much of it: two turns
/// of a slow capstan, and twice the longest run that is looked for.
const BESIDE_S: f64 = 4.0;

/// A run begins where the speed leaves its usual range: by this part of
/// nominal speed at least, or by this many times what 70 % of the needles
/// beside it stay within. A sine stays within 0.89 of its peak for 70 % of the
/// time, so that twice is beyond any wow. This and what follows: tuned on
/// formulas, judged by `tests/program/recordings_tell_what_happened.rs` on other
/// shapes, lengths and machines.
const LEFT_AT_LEAST: f64 = 0.002;
const LEFT_TIMES: f64 = 2.0;

/// It reaches this many times as far at least: flutter that looks like noise
/// goes beyond twice once in fifty needles.
const DEEP_TIMES: f64 = 4.0;

/// What is asked of a run: how far below the usual speed it reaches, a part of
/// nominal speed, and how fast it goes.
struct Least {
    depth: f64,
    per_s: f64,
}

/// A motor stops within some seconds, which is 20 % a second and more; a hand
/// at the trimmer makes 3 % (common practice, no source).
const DOWN: Least = Least {
    depth: 0.012,
    per_s: 0.06,
};

/// Of a start often only the last is heard, for a tone that glides is none.
const UP: Least = Least {
    depth: 0.003,
    per_s: 0.004,
};

/// Its outer half makes this part of it: a run goes on to the very end, while
/// a turn is followed by a rest. What is slow must grow slower and slower.
const OUTER: f64 = 0.25;
const OUTER_OF_SLOW: f64 = 0.5;

/// Its beginning hides in the flutter: this much more is left out, and as much
/// again as was seen of it.
const RUN_MARGIN_S: f64 = 0.15;

/// Points of the whole when steady stretches are looked for, at most, and what
/// each lasts at least.
const MOST_POINTS: usize = 500;
const LEAST_POINT_S: f64 = 0.1;

/// What wow and flutter leave beside a line is told from windows of this
/// length: more than a turn of a slow capstan.
const WINDOW_S: f64 = 3.0;

/// A further stretch must explain as much as the machine's own wow makes in
/// this time: half a turn of a slow capstan is a line of its own, but lasts
/// only a second.
const WORTH_S: f64 = 3.0;

/// Nothing is told apart that is finer than this part of nominal speed.
const FINEST: f64 = 1e-4;

/// A stretch is steady when it lasts this long and goes by no more than this a
/// second: 3 % a minute is a hand, not a drift. From end to end the wow that is
/// cut off there may make this many times its own root mean square.
const STEADY_S: f64 = 2.5;
const STEADY_PER_S: f64 = 5e-4;
const STEADY_WOW: f64 = 2.0;

/// Neighbours that are no further apart than this part of nominal speed, or
/// than the scatter of the machine, are one.
const SAME: f64 = 5e-4;

/// This much is left out where a turn begins and ends: for this long its
/// beginning passes for a part of the line before it.
const TURN_MARGIN_S: f64 = 0.4;

/// More stretches than these are not listed.
pub const MOST_STRETCHES: usize = 32;

/// A sum of values and how many they are.
#[derive(Clone, Copy, Debug, Default)]
struct Cell {
    sum: f64,
    count: u32,
}

impl Cell {
    fn add(&mut self, other: Self) {
        self.sum += other.sum;
        self.count += other.count;
    }

    fn mean(self) -> Option<f64> {
        (self.count > 0).then(|| self.sum / f64::from(self.count))
    }
}

/// See the module.
#[derive(Clone, Debug)]
pub struct Course {
    ticks_in_cell: u64,
    rate_hz: f64,
    origin_hz: f64,
    /// The cell that is being filled.
    open: (u64, Cell),
    /// The first cells, the number of the first of them, and the last ones
    /// with the number of the one behind them.
    head: Vec<Cell>,
    from: u64,
    tail: VecDeque<Cell>,
    to: u64,
    /// From the first cell of the recording on.
    blocks: Vec<Cell>,
    cells_in_block: u64,
}

/// The parts of a recording, in seconds from its start.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SteadyParts {
    /// From the first to the last that was heard of it.
    pub heard_s: [f64; 2],
    /// While the motor came up to speed.
    pub run_up_s: Option<[f64; 2]>,
    /// While it came to rest.
    pub run_down_s: Option<[f64; 2]>,
    /// Where the speed was left alone, in order.
    pub steady_s: Vec<[f64; 2]>,
}

impl Course {
    /// Nothing heard yet, for `rate_hz` ticks a second.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            ticks_in_cell: ((CELL_S * rate_hz).round() as u64).max(1),
            rate_hz,
            origin_hz: 0.0,
            open: (0, Cell::default()),
            head: Vec::new(),
            from: 0,
            tail: VecDeque::new(),
            to: 0,
            blocks: Vec::new(),
            cells_in_block: 1,
        }
    }

    /// The speed at a tick since the recording began.
    #[inline]
    pub fn push(&mut self, tick: u64, hz: f64) {
        // A tone that was found again may reach back a little.
        let cell = (tick / self.ticks_in_cell).max(self.open.0);
        if cell != self.open.0 {
            self.close();
            self.open.0 = cell;
        }
        if self.origin_hz == 0.0 {
            self.origin_hz = hz;
        }
        self.open.1.sum += hz / self.origin_hz - 1.0;
        self.open.1.count += 1;
    }

    fn close(&mut self) {
        let (number, cell) = std::mem::take(&mut self.open);
        if cell.count == 0 {
            return;
        }
        if self.head.is_empty() {
            (self.from, self.to) = (number, number);
        }
        let place = (number - self.from) as usize;
        if place < END_CELLS {
            self.head.resize(place, Cell::default());
            self.head.push(cell);
        }
        if number - self.to > END_CELLS as u64 {
            self.tail.clear();
            self.to = number;
        }
        let missing = (number - self.to) as usize;
        self.tail.resize(self.tail.len() + missing, Cell::default());
        self.tail.push_back(cell);
        self.to = number + 1;
        let surplus = self.tail.len().saturating_sub(END_CELLS);
        self.tail.drain(..surplus);
        let mut block = (number / self.cells_in_block) as usize;
        while block >= MOST_BLOCKS {
            self.merge();
            block /= 2;
        }
        if self.blocks.len() <= block {
            self.blocks.resize(block + 1, Cell::default());
        }
        self.blocks[block].add(cell);
    }

    fn merge(&mut self) {
        let merged = self.blocks.chunks(2).map(|pair| {
            let mut both = pair[0];
            pair.iter().skip(1).for_each(|cell| both.add(*cell));
            both
        });
        self.blocks = merged.collect();
        self.cells_in_block *= 2;
    }

    /// What can be told of its parts; `moved` where the speed was turned, so
    /// that there may be several steady ones.
    pub fn parts(&self, moved: bool) -> SteadyParts {
        let mut all = self.clone();
        all.close();
        all.divide(moved)
    }

    fn divide(&self, moved: bool) -> SteadyParts {
        let cell_s = self.ticks_in_cell as f64 / self.rate_hz;
        let [from_s, to_s] = [self.from, self.to].map(|cell| cell as f64 * cell_s);
        let head = needles(self.head.iter());
        let tail = needles(self.tail.iter().rev());
        let run_up_s = run_s(&head, &UP).map(|length_s| [from_s, from_s + length_s]);
        let run_down_s = run_s(&tail, &DOWN).map(|length_s| [to_s - length_s, to_s]);
        let heard_s = [from_s, to_s];
        let from_s = run_up_s.map_or(from_s, |run| run[1]);
        let to_s = run_down_s.map_or(to_s, |run| run[0]);
        if to_s <= from_s {
            // All of it runs: there is nothing to be cut free.
            return SteadyParts::default();
        }
        let block_s = self.cells_in_block as f64 * cell_s;
        let steady_s = if moved {
            steady_within(&self.blocks, block_s, [from_s, to_s])
        } else {
            vec![[from_s, to_s]]
        };
        SteadyParts {
            heard_s,
            run_up_s,
            run_down_s,
            steady_s,
        }
    }
}

impl SteadyParts {
    /// True where something besides the runs at the ends was left out: a turn.
    pub fn is_turned(&self) -> bool {
        let from = self.run_up_s.map_or(self.heard_s[0], |run| run[1]);
        let to = self.run_down_s.map_or(self.heard_s[1], |run| run[0]);
        !self.steady_s.is_empty() && self.steady_s != [[from, to]]
    }

    /// True where one steady part goes from end to end, or to the runs there.
    pub fn is_left_alone(&self) -> bool {
        !self.steady_s.is_empty() && !self.is_turned()
    }

    /// True where all that was heard is of one piece, or no part of it is.
    pub fn is_whole(&self) -> bool {
        self.steady_s.is_empty() || self.steady_s == [self.heard_s]
    }
}

/// Means of some cells each that were heard at all, from the first on.
fn needles<'a>(cells: impl Iterator<Item = &'a Cell>) -> Vec<f64> {
    let heard: Vec<f64> = cells.filter_map(|cell| cell.mean()).collect();
    heard
        .chunks_exact(NEEDLE_CELLS)
        .map(|some| some.iter().sum::<f64>() / some.len() as f64)
        .collect()
}

/// How long the motor runs up or down at an end, seconds; needles from the end
/// inwards.
fn run_s(needles: &[f64], least: &Least) -> Option<f64> {
    let beside = (BESIDE_S / NEEDLE_S) as usize;
    let (mut end, level, usual) = (0..needles.len()).find_map(|k| {
        let mut others: Vec<f64> = needles[k + 1..].iter().take(beside).copied().collect();
        if others.len() < beside / 4 {
            return None;
        }
        let level = median(&mut others)?;
        let mut away: Vec<f64> = others.iter().map(|other| (other - level).abs()).collect();
        let usual = quantile(&mut away, 0.7)?;
        let left = (LEFT_TIMES * usual).max(LEFT_AT_LEAST);
        (needles[k] >= level - left).then_some((k, level, usual))
    })?;
    if end == 0 {
        return None;
    }
    // The needle in which it began has half of it.
    end += 1;
    let depth = level - needles[0];
    let seen_s = end as f64 * NEEDLE_S;
    let outer = needles[end / 2] - needles[0];
    let is_quick = depth >= DOWN.per_s * seen_s;
    let least_outer = if is_quick { OUTER } else { OUTER_OF_SLOW };
    let is_run = depth >= least.depth.max(DEEP_TIMES * usual)
        && depth >= least.per_s * seen_s
        && (end < 4 || outer >= least_outer * depth);
    is_run.then_some(2.0 * seen_s + RUN_MARGIN_S)
}

/// A mean speed and the middle of its time in seconds.
#[derive(Clone, Copy)]
struct Point {
    at_s: f64,
    speed: f64,
}

/// Sums of the points up to each.
struct Running(Vec<Sums>);

impl Running {
    fn new(points: &[Point]) -> Self {
        let mut sums = Sums::default();
        let mut all = vec![sums];
        for point in points {
            sums.push([point.at_s, point.speed]);
            all.push(sums);
        }
        Self(all)
    }

    fn of(&self, from: usize, to: usize) -> Sums {
        self.0[to].since(&self.0[from])
    }
}

/// The stretches within which the speed was left alone: the course is divided
/// into lines where that explains more than it costs (optimal partitioning,
/// Jackson et al. 2005), and those that lie are steady.
fn steady_within(blocks: &[Cell], block_s: f64, [from_s, to_s]: [f64; 2]) -> Vec<[f64; 2]> {
    let point_s = ((to_s - from_s) / MOST_POINTS as f64).max(LEAST_POINT_S);
    let joined = (point_s / block_s).ceil().max(1.0) as usize;
    let point_s = joined as f64 * block_s;
    let points = points_of(blocks, joined, point_s, [from_s, to_s]);
    let window = (WINDOW_S / point_s).ceil().max(4.0) as usize;
    if points.len() < 2 * window {
        return Vec::new();
    }
    let sums = Running::new(&points);
    let mut own: Vec<f64> = (0..=points.len() - window)
        .step_by(window / 2)
        .map(|k| sums.of(k, k + window).squares_left() / window as f64)
        .collect();
    let own = median(&mut own).unwrap_or_default().max(FINEST * FINEST);
    let worth = own * (WORTH_S / point_s).max(4.0);
    let lines = divided(&sums, points.len(), worth);
    let mean = |from, to| sums.of(from, to).line().through[1];
    let mut steady: Vec<(usize, usize)> = Vec::new();
    for (from, to) in lines {
        let length_s = (to - from) as f64 * point_s;
        let most_per_s = STEADY_PER_S.max(STEADY_WOW * own.sqrt() / length_s);
        if length_s < STEADY_S || sums.of(from, to).line().slope.abs() > most_per_s {
            continue;
        }
        let follows = |before: &&mut (usize, usize)| {
            let apart = mean(before.0, before.1) - mean(from, to);
            before.1 == from && apart.abs() <= SAME.max(own.sqrt())
        };
        match steady.last_mut().filter(follows) {
            Some(before) => before.1 = to,
            None => steady.push((from, to)),
        }
    }
    let half = point_s / 2.0;
    let margin = half + TURN_MARGIN_S;
    let seconds = |&(from, to): &(usize, usize)| {
        let begins = |from: usize| points[from].at_s - half + margin;
        let ends = |to: usize| points[to - 1].at_s + half - margin;
        [
            if from == 0 { from_s } else { begins(from) },
            if to == points.len() { to_s } else { ends(to) },
        ]
    };
    let skipped = steady.len().saturating_sub(MOST_STRETCHES);
    steady.iter().skip(skipped).map(seconds).collect()
}

fn points_of(blocks: &[Cell], joined: usize, point_s: f64, [from_s, to_s]: [f64; 2]) -> Vec<Point> {
    let all = blocks.chunks(joined).enumerate().filter_map(|(k, some)| {
        let mut all = Cell::default();
        for cell in some {
            all.add(*cell);
        }
        let at_s = (k as f64 + 0.5) * point_s;
        let half = point_s / 2.0;
        let inside = at_s - half >= from_s - 1e-9 && at_s + half <= to_s + 1e-9;
        all.mean()
            .filter(|_| inside)
            .map(|speed| Point { at_s, speed })
    });
    all.collect()
}

/// The division into lines that costs least, each costing what it leaves and
/// `worth` besides.
fn divided(sums: &Running, count: usize, worth: f64) -> Vec<(usize, usize)> {
    let mut least = vec![(0.0, 0); count + 1];
    for to in 1..=count {
        let cost = |from: usize| {
            let before: (f64, usize) = least[from];
            before.0 + sums.of(from, to).squares_left() + worth
        };
        let best = (0..to).map(|from| (cost(from), from));
        least[to] = best
            .reduce(|a, b| if b.0 < a.0 { b } else { a })
            .unwrap_or_default();
    }
    let mut lines = Vec::new();
    let mut to = count;
    while to > 0 {
        let from = least[to].1;
        lines.push((from, to));
        to = from;
    }
    lines.reverse();
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const RATE_HZ: f64 = 2000.0;

    /// A machine with wow and flutter whose mean speed is a function of time.
    fn course(seconds: f64, speed: impl Fn(f64) -> f64) -> Course {
        let mut course = Course::new(RATE_HZ);
        for tick in 0..(seconds * RATE_HZ) as u64 {
            let t = tick as f64 / RATE_HZ;
            let wavers = 1e-3 * (TAU * 0.6 * t).sin() + 5e-4 * (TAU * 9.0 * t).sin();
            let speed = speed(t);
            if speed > 0.85 {
                course.push(tick, 3150.0 * speed * (1.0 + wavers));
            }
        }
        course
    }

    #[test]
    fn a_stop_is_found_however_long_the_recording() {
        for seconds in [12.0, 300.0, 3000.0] {
            let end = seconds - 0.5;
            let course = course(seconds, |t| 1.0 - 2.0 * (t - end).max(0.0));
            assert!(course.blocks.len() <= MOST_BLOCKS);
            let parts = course.parts(false);
            let [from, _] = parts.run_down_s.expect("it stops");
            assert!((end - 0.5..=end).contains(&from), "{parts:?}");
            assert_eq!(parts.run_up_s, None);
            assert_eq!(parts.steady_s, [[0.0, from]]);
        }
    }

    #[test]
    fn turns_divide_what_is_steady() {
        let turned = |t: f64| 0.97 + 0.03 * ((t - 13.0) / 4.0).clamp(0.0, 1.0);
        let steady = course(30.0, turned).parts(true).steady_s;
        let [first, second] = steady[..] else {
            panic!("{steady:?}");
        };
        assert!(
            first[0] == 0.0 && (11.0..13.0).contains(&first[1]),
            "{first:?}"
        );
        assert!((17.0..19.0).contains(&second[0]), "{second:?}");
        assert!((second[1] - 30.0).abs() < 0.02, "{second:?}");
    }

    #[test]
    fn wow_and_drift_are_of_one_piece() {
        assert!(course(40.0, |_| 1.0).parts(true).is_whole());
        assert!(course(60.0, |t| 1.0 - 1e-4 * t).parts(true).is_whole());
    }
}

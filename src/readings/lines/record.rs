//! The record that lines are sought in.

use std::collections::VecDeque;
use std::sync::Arc;

use super::look::{Look, LookLine};
use super::motion::{Before, tell};
use super::windows::{SURELY, TWICE, common, has, with_past};
use crate::readings::wavering::{FlutterLine, FlutterLines, LineMotion};
use crate::signal::lines::{Finder, threshold};

/// Least rate of the values: what the low-pass before leaves above 290 Hz folds
/// to above 200 (derived).
pub const LINES_HZ: f64 = 490.0;

/// Values that are kept: 65 s.
const KEPT: usize = 1 << 15;

/// Live, a window begins every half of that, at first.
const STRIDE: u64 = KEPT as u64 / 2;

/// Windows that are kept; when there are more, every other one goes and they
/// come half as often.
const MOST_WINDOWS: usize = 8;

/// Live, a look is taken each eighth of what is kept.
const LOOK: u64 = KEPT as u64 / 8;

/// Looks that are kept, live: the oldest is half a window older than the
/// newest.
const LOOKS: usize = 5;

/// What ran this long stands until what runs after a disturbance has run as
/// long. A choice.
const STANDS_S: f64 = 20.0;

/// What values belong to.
#[derive(Clone, Copy, Debug)]
pub struct Run {
    /// Counts what was followed and moves.
    pub generation: u64,
    /// It began with a move.
    pub moved: bool,
    /// The values are counted from here.
    pub offset_hz: f64,
    /// Highest rate that reaches them.
    pub band_hz: f64,
}

/// What ran before.
#[derive(Clone, Debug)]
struct Past {
    found: FlutterLines,
    mean_hz: f64,
    /// Only moves lie between.
    is_same_machine: bool,
}

impl Past {
    /// As it runs at another speed: what turns goes with it. Where that is not
    /// told, the rate is known to no more than this move.
    fn at_speed(&self, mean_hz: Option<f64>) -> FlutterLines {
        let mut found = self.found.clone();
        let ratio = mean_hz.map_or(1.0, |mean_hz| mean_hz / self.mean_hz);
        for line in &mut found.lines {
            if line.motion == LineMotion::KeepsRate {
                continue;
            }
            let hz = ratio * line.hz.0;
            if line.motion == LineMotion::NotTold {
                line.hz_uncertainty.0 = line.hz_uncertainty.0.max((hz - line.hz.0).abs());
            }
            line.hz.0 = hz;
        }
        found
    }
}

/// See the module.
#[derive(Clone, Debug)]
pub struct LineRecord {
    rate_hz: f64,
    is_live: bool,
    run: Option<Run>,
    /// Loudest that was heard of the mains, as a part of the tone's amplitude.
    hum: f64,
    /// Newest values in hertz about the run's offset.
    values: VecDeque<f32>,
    count: u64,
    windows: Vec<Look>,
    stride: u64,
    next_window: u64,
    /// Of a recording: live, a look is rare.
    finder: Finder,
    looks: VecDeque<Look>,
    live: Option<Arc<FlutterLines>>,
    past: Option<Box<Past>>,
}

impl LineRecord {
    /// Empty, for `rate_hz` values a second.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            is_live: false,
            run: None,
            hum: 0.0,
            values: VecDeque::new(),
            count: 0,
            windows: Vec::new(),
            stride: KEPT as u64,
            next_window: KEPT as u64,
            finder: Finder::default(),
            looks: VecDeque::new(),
            live: None,
            past: None,
        }
    }

    /// Takes looks as it grows, and windows that overlap: of a recording each
    /// minute alone is looked at, for speed.
    pub fn be_live(&mut self) {
        self.is_live = true;
        self.stride = STRIDE;
    }

    /// Hum beside the tone, as a part of its amplitude.
    pub fn hear(&mut self, hum: f64) {
        self.hum = self.hum.max(hum);
    }

    /// Values of a run, in hertz about its offset.
    pub fn push(&mut self, run: &Run, mut values: &[f32]) {
        if self
            .run
            .is_none_or(|known| known.generation != run.generation)
        {
            self.begin(run.moved);
        }
        self.run = Some(*run);
        while !values.is_empty() {
            let until = (self.next_stop() - self.count) as usize;
            let (now, later) = values.split_at(until.min(values.len()));
            self.values.extend(now);
            let old = self.values.len().saturating_sub(KEPT);
            self.values.drain(..old);
            self.count += now.len() as u64;
            values = later;
            if now.len() == until {
                self.stop();
            }
        }
    }

    fn next_stop(&self) -> u64 {
        let next_look = (self.count / LOOK + 1) * LOOK;
        if self.is_live {
            self.next_window.min(next_look)
        } else {
            self.next_window
        }
    }

    /// What comes does not go with what was.
    fn begin(&mut self, moved: bool) {
        let was = std::mem::replace(self, Self::new(self.rate_hz));
        if was.is_live {
            self.be_live();
        }
        self.hum = was.hum;
        let stands = was.seconds() >= STANDS_S;
        let found = stands.then(|| was.now(was.is_live)).flatten();
        self.past = match found {
            Some((found, mean_hz)) => Some(Box::new(Past {
                found,
                mean_hz,
                is_same_machine: moved,
            })),
            None => was.past,
        };
        if let (Some(past), false) = (&mut self.past, moved) {
            past.is_same_machine = false;
        }
    }

    fn seconds(&self) -> f64 {
        self.count as f64 / self.rate_hz
    }

    /// A look or a window is due.
    fn stop(&mut self) {
        let is_window = self.count == self.next_window;
        let mut finder = std::mem::take(&mut self.finder);
        let look = self.look(TWICE.min(self.threshold()), &mut finder);
        if !self.is_live {
            self.finder = finder;
        }
        let Some(look) = look else {
            return;
        };
        if self.is_live {
            if self.looks.len() == LOOKS {
                self.looks.pop_front();
            }
            self.looks.push_back(look.clone());
            self.live = Some(Arc::new(self.shown(&look)));
        }
        if is_window {
            self.windows.push(look);
            if self.windows.len() > MOST_WINDOWS {
                let mut nth = 0;
                self.windows.retain(|_| {
                    nth += 1;
                    nth % 2 == 1
                });
                self.stride *= 2;
            }
            self.next_window += self.stride;
        }
    }

    fn threshold(&self) -> f64 {
        threshold(self.values.len() as f64 / self.rate_hz)
    }

    /// At all that is kept.
    fn look(&self, least: f64, finder: &mut Finder) -> Option<Look> {
        let run = self.run?;
        let values: Vec<f32> = self.values.iter().copied().collect();
        let mut look = Look::at(
            &values,
            run.offset_hz,
            self.rate_hz,
            run.band_hz,
            least,
            self.hum,
            finder,
        )?;
        look.middle_s = self.seconds() - 0.5 * values.len() as f64 / self.rate_hz;
        Some(look)
    }

    /// Live: what stands out far enough by itself, or stood there half a window
    /// ago too, in as long a look.
    fn shown(&self, look: &Look) -> FlutterLines {
        let is_full = self.values.len() == KEPT;
        let alone = if is_full { SURELY } else { self.threshold() };
        let before = (self.looks.front())
            .filter(|before| self.looks.len() == LOOKS && before.seconds >= look.seconds);
        let stands = |line: &&LookLine| {
            line.above() > alone || before.is_some_and(|before| has(before, line, look))
        };
        let lines = look.lines.iter().filter(stands);
        let lines = lines.map(|line| with_past(line, look, &self.windows));
        let mut lines: Vec<FlutterLine> = lines.collect();
        self.tell_motion(&mut lines, look.mean_hz);
        look.with(lines, look.seconds)
    }

    fn tell_motion(&self, lines: &mut [FlutterLine], mean_hz: f64) {
        let past = self.past.as_ref().filter(|past| past.is_same_machine);
        if let Some(past) = past {
            let before = Before {
                lines: past.found.lines.clone(),
                mean_hz: past.mean_hz,
            };
            tell(lines, mean_hz, &before);
        }
    }

    /// What the newest look at a run showed; `None` before the first.
    pub fn live(&self, generation: u64) -> Option<&Arc<FlutterLines>> {
        let is_it = |run: &Run| run.generation == generation;
        self.live
            .as_ref()
            .filter(|_| self.run.as_ref().is_some_and(is_it))
    }

    /// The lines of the record; `None` where it is too short. What ran long
    /// before a move stands, at the present speed, until what runs now has run as
    /// long.
    pub fn lines(&self) -> Option<FlutterLines> {
        let past = self.past.as_ref().filter(|past| past.is_same_machine);
        match past {
            Some(past) if self.seconds() < STANDS_S => Some(past.at_speed(self.mean_hz())),
            _ => self.now(false).map(|(found, _)| found),
        }
    }

    /// Of what is kept; `None` where there is nothing.
    fn mean_hz(&self) -> Option<f64> {
        let run = self.run.filter(|_| !self.values.is_empty())?;
        let sum: f64 = self.values.iter().map(|&hz| f64::from(hz)).sum();
        Some(run.offset_hz + sum / self.values.len() as f64)
    }

    /// Of the run alone, with its mean frequency; live, as it was shown last.
    fn now(&self, live: bool) -> Option<(FlutterLines, f64)> {
        if let (true, Some(shown), Some(look)) = (live, &self.live, self.looks.back()) {
            return Some(((**shown).clone(), look.mean_hz));
        }
        if self.windows.len() < 2 {
            let look = self.look(self.threshold(), &mut Finder::default())?;
            let mut lines: Vec<FlutterLine> = look.lines.iter().map(LookLine::reading).collect();
            self.tell_motion(&mut lines, look.mean_hz);
            return Some((look.with(lines, look.seconds), look.mean_hz));
        }
        let mut windows = self.windows.clone();
        let last_end = self.next_window - self.stride;
        if self.count >= last_end + STRIDE {
            windows.extend(self.look(TWICE, &mut Finder::default()));
        }
        let last = windows.last()?;
        let mut lines = common(&windows);
        self.tell_motion(&mut lines, last.mean_hz);
        Some((last.with(lines, self.seconds()), last.mean_hz))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::lines::tests::noise;
    use std::f64::consts::TAU;

    const RATE_HZ: f64 = 500.0;

    fn run(generation: u64, moved: bool) -> Run {
        Run {
            generation,
            moved,
            offset_hz: 3150.0,
            band_hz: 200.0,
        }
    }

    /// A tone that wavers at `hz`, about the run's offset.
    fn wavering(hz: f64, seconds: f64) -> Vec<f32> {
        let value = |(n, rough): (usize, f64)| {
            let t = n as f64 / RATE_HZ;
            (3.0 * (TAU * hz * t).sin() + rough) as f32
        };
        let rough = noise((seconds * RATE_HZ) as usize, 4);
        rough.into_iter().enumerate().map(value).collect()
    }

    fn record(live: bool) -> LineRecord {
        let mut record = LineRecord::new(RATE_HZ);
        if live {
            record.be_live();
        }
        record
    }

    fn rates(found: &FlutterLines) -> Vec<f64> {
        found
            .lines
            .iter()
            .map(|line| (10.0 * line.hz.0).round() / 10.0)
            .collect()
    }

    #[test]
    fn memory_is_bounded_and_block_size_changes_nothing() {
        let values = wavering(7.0, 400.0);
        let mut whole = record(true);
        whole.push(&run(1, false), &values);
        assert_eq!(whole.values.len(), KEPT);
        for most in [1, 997] {
            let mut pieces = record(true);
            for few in values.chunks(most) {
                pieces.push(&run(1, false), few);
            }
            assert_eq!(pieces.lines(), whole.lines(), "{most}");
            assert_eq!(pieces.live(1), whole.live(1), "{most}");
        }
        let mut long = record(false);
        for nth in 0..20 {
            long.push(&run(1, false), &values);
            assert!(long.windows.len() <= MOST_WINDOWS, "{nth}");
        }
        let found = long.lines().expect("long");
        assert!((found.seen.0 - 8000.0).abs() < 1.0);
        let windows = &found.lines[0].windows;
        assert!(windows.len() > MOST_WINDOWS / 2);
        // From end to end.
        assert!(windows[0].at.0 < 40.0 && windows[windows.len() - 1].at.0 > 7900.0);
    }

    #[test]
    fn what_ran_before_a_move_is_no_part_of_what_runs_after() {
        let mut both = record(true);
        both.push(&run(1, false), &wavering(7.0, 40.0));
        both.push(&run(2, true), &wavering(9.0, 12.0));
        // Live, only what runs now; of the whole, what ran long.
        assert_eq!(rates(both.live(2).expect("a look")), [9.0]);
        assert_eq!(rates(&both.lines().expect("a run")), [7.0]);
        both.push(&run(2, true), &wavering(9.0, 48.0)[6000..]);
        assert_eq!(rates(&both.lines().expect("a run")), [9.0]);
        let mut alone = record(true);
        alone.push(&run(2, false), &wavering(9.0, 12.0));
        alone.push(&run(2, false), &wavering(9.0, 48.0)[6000..]);
        assert_eq!(alone.live(2), both.live(2));
        // What begins has shown nothing yet.
        assert_eq!(both.live(3), None);
    }

    #[test]
    fn another_machine_has_none_of_the_lines_before() {
        let mut one = record(false);
        one.push(&run(1, false), &wavering(7.0, 40.0));
        // Moved by 1 %: what is not told may stay or go.
        let mut moved = one.clone();
        let at = |generation, moved| Run {
            offset_hz: 3181.5,
            ..run(generation, moved)
        };
        moved.push(&at(2, true), &wavering(7.07, 6.0));
        let found = moved.lines().expect("what ran before");
        let line = &found.lines[0];
        assert!((line.hz.0 - 7.07).abs() < 0.002, "{line:?}");
        assert!(line.hz_uncertainty.0 >= 0.069, "{line:?}");
        let mut lost = one;
        lost.push(&at(2, false), &wavering(9.0, 6.0));
        assert_eq!(lost.lines(), None);
        lost.push(&at(2, false), &wavering(9.0, 12.0)[3000..]);
        assert_eq!(rates(&lost.lines().expect("long enough")), [9.0]);
    }

    #[test]
    fn half_a_window_ago_is_a_whole_look_ago() {
        let mut live = record(true);
        live.push(&run(1, false), &wavering(7.0, 150.0));
        let [old, new] = [live.looks.front(), live.looks.back()].map(|it| it.expect("looks"));
        assert!((new.middle_s - old.middle_s - 0.5 * new.seconds).abs() < 0.1);
        // A line that stands between the two thresholds, in the newest look and
        // in one that lay within it.
        let mut faint = new.clone();
        faint.lines.truncate(1);
        faint.lines[0].sine.above = 0.5 * (TWICE + SURELY);
        for (seconds, shown) in [(new.seconds, 1), (0.4 * new.seconds, 0)] {
            live.looks[0] = faint.clone();
            live.looks[0].seconds = seconds;
            assert_eq!(live.shown(&faint).lines.len(), shown, "{seconds}");
        }
    }

    #[test]
    fn too_short_is_not_the_same_as_none() {
        let mut still = record(false);
        let rough: Vec<f32> = noise(15_000, 5).iter().map(|&value| value as f32).collect();
        still.push(&run(1, false), &rough[..3000]);
        assert_eq!(still.lines(), None);
        still.push(&run(1, false), &rough[3000..]);
        assert_eq!(still.lines().map(|found| found.lines.len()), Some(0));
    }
}

//! A technician's hands on the simulated machine, for the benchmark
//! `technician`: what machine, how hands turn, and what eyes have seen a
//! reaction ago. All of it invented, seeded.

use std::collections::VecDeque;
use std::f64::consts::TAU;

use super::sound;
use super::sweeps::Dice;
use tapewright::readings::{Advice, Engine, Settings, Steadiness, ToneState};
use tapewright::rehearsal::{
    Fingers, FlutterLine, FlutterModel, MachineConfig, SimulatedMachine, TrimmerConfig,
};
use tapewright::units::Percent;

/// From seeing to doing.
pub const REACTION_S: f64 = 0.4;
/// Half the band, percent.
pub const BAND: f64 = 0.1;
/// Where every run begins, percent.
pub const START: f64 = -3.0;
/// A trimmer of one turn goes through so many degrees (common practice, no
/// source).
pub const TRAVEL_DEGREES: f64 = 270.0;
/// A turn misses what was wanted by this part, and by so many degrees
/// besides; standard deviations, invented.
const MISSES_BY: f64 = 0.15;
const MISSES_BY_DEGREES: f64 = 0.4;
/// The machine has played for so long before the hand takes hold, seconds.
const BEFORE_S: f64 = 15.0;
const RATE_HZ: u32 = 16_000;
const STEP_S: f64 = 0.01;
/// The screen is drawn anew every so many steps, 33 times a second.
const STEPS_A_PICTURE: u32 = 3;

/// What the screen shows at one moment.
#[derive(Clone, Copy, Debug, Default)]
pub struct Seen {
    /// The needle, percent.
    pub needle: f64,
    /// The mark where the speed will settle.
    pub heading: Option<f64>,
    /// The call to stop.
    pub overshoots: bool,
    /// The advice, and the effect of a turn that it names.
    pub advice: Option<Advice>,
    pub last_move: Option<f64>,
    /// The digits are said to move.
    pub moving: bool,
}

/// A machine that plays 3 % slow: transport and trimmer by chance.
pub fn machine(dice: &mut Dice) -> MachineConfig {
    let range = dice.between(6.0, 20.0);
    // The start must lie within the travel, a little off its end.
    let right = dice.between((3.3 / range).max(0.3), 0.7);
    let (low, high) = (-right * range, (1.0 - right) * range);
    let is_turned_up = dice.chance(0.5);
    let mut trimmer = TrimmerConfig {
        position: 0.5,
        percent_at_start: if is_turned_up { low } else { high },
        percent_at_end: if is_turned_up { high } else { low },
        bow: dice.between(-0.2, 0.2),
        dead: None,
    };
    trimmer.position = place_of(&trimmer, START);
    // Of a portable's lines, each at a rate of its own; the strongest has the
    // peak that is drawn.
    let portable = FlutterModel::portable();
    let strongest = portable
        .lines
        .iter()
        .map(|line| line.peak_percent)
        .fold(0.0, f64::max);
    let mut flutter = portable.scaled(dice.between(0.05, 0.15) / strongest);
    for line in &mut flutter.lines {
        *line = FlutterLine::new(line.hz * dice.between(0.8, 1.25), line.peak_percent);
    }
    MachineConfig {
        rate_hz: RATE_HZ,
        channels: 1,
        trimmer,
        lag_s: dice.between(0.05, 0.25),
        flutter,
        hiss_snr_db: Some(46.0),
        ..MachineConfig::ideal()
    }
}

/// Where a trimmer gives a deviation, by halving.
fn place_of(trimmer: &TrimmerConfig, percent: f64) -> f64 {
    let rises = trimmer.percent_at_end > trimmer.percent_at_start;
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..50 {
        let middle = f64::midpoint(low, high);
        if (trimmer.percent_at(middle) < percent) == rises {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

/// How far a hand turns that wants to turn by so much.
pub fn turned(wanted: f64, dice: &mut Dice) -> f64 {
    wanted * (1.0 + MISSES_BY * dice.gaussian())
        + MISSES_BY_DEGREES / TRAVEL_DEGREES * dice.gaussian()
}

/// Machine, program, eyes and hand, a hundredth of a second at a time.
pub struct Workplace {
    machine: SimulatedMachine,
    engine: Engine,
    fingers: Fingers,
    /// What is left of the turn under way, and its pace a second.
    left: f64,
    pace: f64,
    tremble: (f64, f64),
    steps: u32,
    seen: VecDeque<Seen>,
    block: Vec<f32>,
    pub dice: Dice,
    /// Turns begun.
    pub turns: u32,
}

impl Workplace {
    /// The machine has played for a while; the hand takes hold now.
    pub fn new(seed: u64) -> Self {
        let mut dice = Dice::new(seed);
        let config = machine(&mut dice);
        let settings = Settings {
            tolerance: Percent(BAND),
            ..sound::settings(RATE_HZ, 1)
        };
        let mut place = Self {
            fingers: Fingers::at(config.trimmer.position),
            tremble: (dice.between(0.0002, 0.0008), dice.between(6.0, 12.0)),
            machine: SimulatedMachine::new(config, seed),
            engine: sound::engine(settings),
            left: 0.0,
            pace: 0.0,
            steps: 0,
            seen: VecDeque::new(),
            block: vec![0.0; (f64::from(RATE_HZ) * STEP_S) as usize],
            dice,
            turns: 0,
        };
        while f64::from(place.steps) * STEP_S < BEFORE_S {
            place.step();
        }
        place.steps = 0;
        place
    }

    /// Time since the hand took hold, seconds.
    pub fn at_s(&self) -> f64 {
        f64::from(self.steps) * STEP_S
    }

    /// Begins a turn by a share of the travel, missing it as hands do, at a
    /// pace that takes half a second or more.
    pub fn turn(&mut self, wanted: f64) {
        self.left = turned(wanted, &mut self.dice);
        // 40 degrees a second is an easy pace (invented).
        self.pace = (self.left.abs() / 0.5).min(40.0 / TRAVEL_DEGREES);
        self.turns += 1;
    }

    /// The hand stops where it is; returns how much of the turn was left.
    pub fn stop(&mut self) -> f64 {
        std::mem::take(&mut self.left)
    }

    /// A turn is under way.
    pub fn is_turning(&self) -> bool {
        self.left != 0.0 || !self.fingers.are_at_rest()
    }

    /// A step on; returns what the eyes saw a reaction ago.
    pub fn step(&mut self) -> Seen {
        let by = self.left.signum() * (self.pace * STEP_S).min(self.left.abs());
        self.left -= by;
        self.fingers.turn(by);
        self.fingers.advance(STEP_S);
        let (deep, hz) = self.tremble;
        // Friction holds the slot while nobody turns.
        let shaken = if self.is_turning() {
            deep * (TAU * hz * f64::from(self.steps) * STEP_S).sin()
        } else {
            0.0
        };
        self.machine.set_trimmer(self.fingers.position() + shaken);
        self.machine.fill(&mut self.block);
        self.engine.push(&self.block);
        self.steps += 1;
        if self.steps.is_multiple_of(STEPS_A_PICTURE) || self.seen.is_empty() {
            let seen = self.look();
            self.seen.push_back(seen);
            let late = (REACTION_S / STEP_S) as u32 / STEPS_A_PICTURE;
            if self.seen.len() > late as usize {
                self.seen.pop_front();
            }
        }
        self.seen[0]
    }

    fn look(&self) -> Seen {
        let reading = self.engine.reading();
        let Some(speed) = reading.speed.filter(|_| reading.tone == ToneState::Locked) else {
            return self.seen.back().copied().unwrap_or_default();
        };
        Seen {
            needle: speed.needle.0,
            heading: reading.guidance.heading.map(|it| it.0),
            overshoots: reading.guidance.overshoots,
            advice: reading.guidance.advice,
            last_move: reading.guidance.last_move.map(|it| it.0),
            moving: speed.steadiness == Steadiness::Moving,
        }
    }

    /// How far off the machine really is, wow and flutter left out.
    pub fn truth(&self) -> f64 {
        self.machine.mean_deviation().0
    }
}

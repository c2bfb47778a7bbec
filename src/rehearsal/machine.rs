//! The simulated machine: everything that acts on speed and level, put
//! together frame by frame.
//!
//! Speed = run × (1 + motor + warm-up + pack + supply) × (1 + flutter), each as
//! a ratio: `motor` follows the trimmer through the lag of motor and flywheel,
//! `run` is 1 at play and falls to 0 with the power off. The phase of the
//! tone is the integral of the speed by the trapezium rule, in f64.

use super::dropouts::{DropoutConfig, Dropouts};
use super::flutter::FlutterModel;
use super::noise::{Hum, HumConfig, Purpose, Random};
use super::oscillator::{advance_turns, sine_of_turns};
use super::supply::{Supply, SupplyConfig};
use super::trimmer::{Trimmer, TrimmerConfig, WiperConfig};
use super::varying::{Flutter, NODES_HZ};
use crate::units::{Decibels, Percent};

/// The line amplifier comes and goes with this time constant, seconds.
const AMPLIFIER_S: f64 = 0.03;
/// What is this near to its aim has reached it.
const ARRIVED: f64 = 1e-9;

/// A machine and its faults. Every field says its unit; a deviation is percent
/// of nominal speed, positive fast.
#[derive(Clone, Debug, PartialEq)]
pub struct MachineConfig {
    /// Samples a second of the rendered output.
    pub rate_hz: u32,
    /// Interleaved channels: 1, or 2 with a right track of its own.
    pub channels: u16,
    /// The tone on the tape in Hz, at right speed.
    pub tone_hz: f64,
    /// Peak of the tone in dB; a full-scale sine is 0 (AES17). Above 0 clips.
    pub level_dbfs: f64,
    /// How much louder the right track is in dB.
    pub right_louder_db: f64,
    /// How much later the right track comes in microseconds: azimuth.
    pub right_later_us: f64,
    /// The speed trimmer.
    pub trimmer: TrimmerConfig,
    /// Its dirt.
    pub wiper: WiperConfig,
    /// Time constant in seconds with which motor and flywheel follow the
    /// trimmer; 0 follows at once.
    pub lag_s: f64,
    /// Time constant in seconds of spinning up and down.
    pub spin_s: f64,
    /// Deviation in percent of a cold machine that goes away as it warms up.
    pub cold_percent: f64,
    /// Time constant in seconds of warming up, and of cooling down.
    pub warm_up_s: f64,
    /// Drift in percent per minute as the pack on the reels changes.
    pub pack_percent_per_min: f64,
    /// What drives it.
    pub supply: SupplyConfig,
    /// Wow and flutter.
    pub flutter: FlutterModel,
    /// RMS of the tone over RMS of the hiss, from 0 Hz to half the rate, in
    /// dB; `None`: no hiss.
    pub hiss_snr_db: Option<f64>,
    /// Mains hum; `None`: none.
    pub hum: Option<HumConfig>,
    /// Dropouts.
    pub dropouts: DropoutConfig,
}

impl MachineConfig {
    /// A machine without fault: 3150 Hz, stereo 48 kHz, −12 dB, the trimmer
    /// in the middle of a linear range of ±5 %, no lag.
    pub fn ideal() -> Self {
        Self {
            rate_hz: 48_000,
            channels: 2,
            tone_hz: 3150.0,
            level_dbfs: -12.0,
            right_louder_db: 0.0,
            right_later_us: 0.0,
            trimmer: TrimmerConfig {
                position: 0.5,
                percent_at_start: -5.0,
                percent_at_end: 5.0,
                bow: 0.0,
                dead: None,
            },
            wiper: WiperConfig::clean(),
            lag_s: 0.0,
            spin_s: 0.3,
            cold_percent: 0.0,
            warm_up_s: 60.0,
            pack_percent_per_min: 0.0,
            supply: SupplyConfig::steady(),
            flutter: FlutterModel::none(),
            hiss_snr_db: None,
            hum: None,
            dropouts: DropoutConfig::none(),
        }
    }

    /// A steady battery portable in fair order: its usual flutter, hiss and
    /// lag, the trimmer clean and right. Strengths are invented.
    pub fn portable() -> Self {
        Self {
            lag_s: 0.12,
            cold_percent: -0.2,
            pack_percent_per_min: 0.01,
            right_later_us: 12.0,
            flutter: FlutterModel::portable(),
            hiss_snr_db: Some(42.0),
            ..Self::ideal()
        }
    }

    /// A mains deck in good order, with its heavier flywheel, less flutter and
    /// a little hum. Strengths are invented.
    pub fn deck() -> Self {
        Self {
            lag_s: 0.25,
            spin_s: 0.6,
            flutter: FlutterModel::portable().scaled(0.35),
            hiss_snr_db: Some(52.0),
            hum: Some(HumConfig {
                mains_hz: 50.0,
                below_tone_db: 60.0,
            }),
            ..Self::ideal()
        }
    }

    /// What reaches 1 − 1/e of its way in `time_constant_s` goes this share of
    /// the rest in a frame; all of it for a time constant of 0.
    fn gain_per_frame(&self, time_constant_s: f64) -> f64 {
        if time_constant_s > 0.0 {
            -(-1.0 / (time_constant_s * f64::from(self.rate_hz))).exp_m1()
        } else {
            1.0
        }
    }
}

/// A machine at play. The same configuration, seed and handling give the same
/// samples, whatever the block size.
#[derive(Clone, Debug)]
pub struct SimulatedMachine {
    config: MachineConfig,
    trimmer: Trimmer,
    flutter: Flutter,
    dropouts: Dropouts,
    hum: Option<Hum>,
    hiss: Random,
    hiss_rms: f64,
    peaks: [f64; 2],

    lag_gain: f64,
    spin_gain: f64,
    warm_gain: f64,
    amplifier_gain: f64,

    powered: bool,
    /// Added by `step_speed`, percent.
    stepped: f64,
    /// Where the motor is heading and where it is, percent.
    aim: f64,
    motor: f64,
    /// Share of its running speed, 0 to 1.
    run: f64,
    /// How cold it is, 1 to 0.
    cold: f64,
    pack_percent: f64,
    supply: Supply,
    amplifier: f64,
    /// Between two nodes of the noise, 0 to 1.
    between_nodes: f64,

    /// Speed as a ratio and phase of the tone in turns, at the next frame.
    speed: f64,
    turns: f64,
    frames: u64,
}

impl SimulatedMachine {
    /// A machine that has just been switched on and is already at speed.
    pub fn new(config: MachineConfig, seed: u64) -> Self {
        let rate_hz = f64::from(config.rate_hz.max(1));
        let peak = Decibels(config.level_dbfs).amplitude_ratio();
        let right = peak * Decibels(config.right_louder_db).amplitude_ratio();
        let trimmer = Trimmer::new(config.trimmer, &config.wiper, seed);
        let aim = trimmer.percent();
        let mut machine = Self {
            flutter: Flutter::new(&config.flutter, rate_hz, seed),
            dropouts: Dropouts::new(config.dropouts, rate_hz, config.channels < 2, seed),
            hum: config.hum.map(|hum| Hum::new(hum, peak, rate_hz)),
            hiss: Random::new(seed, Purpose::Hiss),
            hiss_rms: config.hiss_snr_db.map_or(0.0, |snr| {
                peak * std::f64::consts::FRAC_1_SQRT_2 * Decibels(-snr).amplitude_ratio()
            }),
            peaks: [peak, right],
            lag_gain: config.gain_per_frame(config.lag_s),
            spin_gain: config.gain_per_frame(config.spin_s),
            warm_gain: config.gain_per_frame(config.warm_up_s),
            amplifier_gain: config.gain_per_frame(AMPLIFIER_S),
            powered: true,
            stepped: 0.0,
            aim,
            motor: aim,
            run: 1.0,
            cold: 1.0,
            pack_percent: 0.0,
            supply: Supply::new(config.supply),
            amplifier: 1.0,
            between_nodes: 0.0,
            speed: 0.0,
            turns: 0.0,
            frames: 0,
            trimmer,
            config,
        };
        machine.speed = machine.speed_now();
        machine
    }

    /// What the machine was built from.
    pub fn config(&self) -> &MachineConfig {
        &self.config
    }

    /// Renders the next frames, as many whole ones as fit.
    pub fn fill(&mut self, interleaved: &mut [f32]) {
        let channels = usize::from(self.config.channels.max(1));
        for frame in interleaved.chunks_exact_mut(channels) {
            self.render(frame);
            self.advance();
        }
    }

    /// Frames rendered so far.
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// True speed deviation at the next frame, wow and flutter included.
    pub fn true_deviation(&self) -> Percent {
        Percent::from_ratio(self.speed)
    }

    /// True speed deviation at the next frame without wow and flutter: what
    /// the digits ought to say.
    pub fn mean_deviation(&self) -> Percent {
        Percent::from_ratio(self.mean_ratio())
    }

    /// Where the mean deviation is heading while nothing is touched, warm-up
    /// and pack as they are now.
    pub fn aimed_deviation(&self) -> Percent {
        Percent(self.aim + self.slow_percent())
    }

    /// Phase of the tone in turns at the next frame, below 1.
    pub fn tone_turns(&self) -> f64 {
        self.turns
    }

    /// Where the trimmer stands, 0 to 1 of its travel.
    pub fn trimmer(&self) -> f64 {
        self.trimmer.position()
    }

    /// Turns the trimmer by a share of its travel, no further than its stops.
    pub fn turn_trimmer(&mut self, by: f64) {
        self.set_trimmer(self.trimmer.position() + by);
    }

    /// Turns the trimmer to a share of its travel, no further than its stops.
    pub fn set_trimmer(&mut self, position: f64) {
        self.trimmer.set(position, self.powered);
        self.aim_again();
    }

    /// Works the wiper once to both stops and back to where it stands. With
    /// the power off this cleans; under power it hardly does.
    pub fn clean_wiper_stroke(&mut self) {
        self.trimmer.stroke(self.powered);
        self.aim_again();
    }

    /// Mean share of the wiper's dirt that is left, 1 to 0.
    pub fn wiper_dirt(&self) -> f64 {
        self.trimmer.dirt()
    }

    /// Switches on: the motor spins up, warming begins.
    pub fn power_on(&mut self) {
        self.powered = true;
    }

    /// Switches off: the motor spins down, the output goes silent.
    pub fn power_off(&mut self) {
        self.powered = false;
    }

    /// Whether the power is on.
    pub fn is_powered(&self) -> bool {
        self.powered
    }

    /// Sets the voltage of the supply.
    pub fn set_supply_volts(&mut self, volts: f64) {
        self.supply.set_volts(volts);
    }

    /// Dropouts that have begun so far.
    pub fn dropouts_begun(&self) -> u64 {
        self.dropouts.count()
    }

    /// Puts another trimmer in and gives the one that was in, as a switch of
    /// speeds does.
    pub(super) fn exchange_trimmer(&mut self, other: &mut Trimmer) {
        std::mem::swap(&mut self.trimmer, other);
        self.aim_again();
    }

    /// Another tape: its tone in Hz at right speed.
    pub(super) fn set_tone(&mut self, tone_hz: f64) {
        self.config.tone_hz = tone_hz;
    }

    /// Moves the motor's aim at once; without lag the speed too.
    pub fn step_speed(&mut self, by: Percent) {
        self.stepped += by.0;
        self.aim_again();
    }

    /// Something was touched: a motor without lag is there at once.
    fn aim_again(&mut self) {
        self.aim = self.trimmer.percent() + self.stepped;
        if self.lag_gain >= 1.0 {
            self.motor = self.aim;
            self.speed = self.speed_now();
        }
    }

    fn slow_percent(&self) -> f64 {
        self.config.cold_percent * self.cold + self.pack_percent + self.supply.percent()
    }

    fn mean_ratio(&self) -> f64 {
        self.run * (1.0 + (self.motor + self.slow_percent()) / 100.0)
    }

    fn speed_now(&self) -> f64 {
        self.mean_ratio() * (1.0 + self.flutter.percent(self.between_nodes) / 100.0)
    }

    fn render(&mut self, frame: &mut [f32]) {
        let left_of_tone = self.dropouts.next();
        // A head gives in proportion to speed; below half of it that shows.
        let head = (2.0 * self.run).min(1.0);
        let hum = self.hum.as_mut().map_or(0.0, Hum::next);
        let later = self.config.right_later_us * 1e-6 * self.config.tone_hz * self.speed;
        for (channel, sample) in frame.iter_mut().enumerate() {
            let track = channel.min(1);
            let turns = self.turns - later * track as f64;
            let tone = self.peaks[track] * left_of_tone[track] * head * sine_of_turns(turns);
            let hiss = if self.hiss_rms > 0.0 {
                self.hiss_rms * self.hiss.hiss()
            } else {
                0.0
            };
            *sample = (self.amplifier * (tone + hum + hiss)).clamp(-1.0, 1.0) as f32;
        }
    }

    /// One frame on.
    fn advance(&mut self) {
        let rate_hz = f64::from(self.config.rate_hz.max(1));
        self.between_nodes += NODES_HZ / rate_hz;
        if self.between_nodes >= 1.0 {
            self.between_nodes -= 1.0;
            self.pass_node();
        }
        self.flutter.advance(self.mean_ratio());
        let on = f64::from(u8::from(self.powered));
        approach(&mut self.motor, self.aim, self.lag_gain);
        approach(&mut self.run, on, self.spin_gain);
        approach(&mut self.cold, 1.0 - on, self.warm_gain);
        approach(&mut self.amplifier, on, self.amplifier_gain);
        self.pack_percent += self.run * self.config.pack_percent_per_min / 60.0 / rate_hz;
        self.supply.pass(self.run, 1.0 / rate_hz);
        let next = self.speed_now();
        let mean = f64::midpoint(self.speed, next);
        advance_turns(&mut self.turns, self.config.tone_hz * mean / rate_hz);
        self.speed = next;
        self.frames += 1;
    }

    fn pass_node(&mut self) {
        self.flutter.next_node();
        self.dropouts.next_node();
        if self.trimmer.next_node() {
            self.aim = self.trimmer.percent() + self.stepped;
        }
    }
}

/// One frame of a first-order approach, which ends instead of dwindling.
fn approach(value: &mut f64, aim: f64, gain: f64) {
    *value += (aim - *value) * gain;
    if (aim - *value).abs() < ARRIVED {
        *value = aim;
    }
}

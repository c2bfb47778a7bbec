//! Invented machines to practise on: a battery portable that plays wrong and
//! has a dirty speed trimmer. Each number gives another one; all can be put
//! right by cleaning the wiper and turning the trimmer.

use super::deck::RunConfig;
use super::dropouts::DropoutConfig;
use super::flutter::FlutterModel;
use super::machine::MachineConfig;
use super::noise::{HumConfig, Purpose, Random};
use super::transports::MachineParts;
use super::trimmer::{TrimmerConfig, WiperConfig};

/// Made-up words; no machine was ever called so, as far as we know.
#[rustfmt::skip]
const FIRST: [&str; 8] = [
    "Quillow", "Marrabee", "Fennimoor", "Oskerlow", "Tamberly", "Wexadine", "Brindlow", "Hollivar",
];
const SECOND: [&str; 6] = [
    "Rambler", "Pocket", "Lantern", "Sparrow", "Meadow", "Harbour",
];

/// What is wrong with the trimmer of a machine to practise on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TrimmerFault {
    /// Dirt where the wiper rested: cleaning cures it.
    #[default]
    Dirty,
    /// The track is worn there: cleaning does not help.
    Worn,
    /// A tenth of the travel changes nothing.
    Dead,
    /// Nothing is wrong with it, but right speed lies at its end: something
    /// else in the machine is at fault.
    AtTheEnd,
    /// Nothing.
    None,
}

/// A simulated machine with a name, a complaint, and everything that is wrong
/// with it.
#[derive(Clone, Debug, PartialEq)]
pub struct PracticeMachine {
    /// Its name, which says that it is simulated.
    pub name: String,
    /// What its invented owner says.
    pub complaint: String,
    /// Its faults.
    pub config: MachineConfig,
    /// What turns in it, where one of these is at fault.
    pub parts: Option<MachineParts>,
}

impl PracticeMachine {
    /// The machine of this number. They arrive about 3 % slow; those whose
    /// number divides by four arrive too fast.
    pub fn of_seed(seed: u64) -> Self {
        let mut random = Random::new(seed, Purpose::Practice);
        let (arrives_percent, complaint) = if seed.is_multiple_of(4) {
            let sharp = "plays sharp, and the speed jumps when the trimmer is touched";
            (random.between(2.0, 3.2), sharp)
        } else {
            let flat = "plays flat, and the speed jumps when the trimmer is touched";
            (random.between(-3.6, -2.6), flat)
        };
        let jump_percent = dirt_jump(&mut random);
        let trimmer = trimmer_off_by(arrives_percent - jump_percent, &mut random);
        let right = right_position(&trimmer);
        let first = FIRST[pick(&mut random, FIRST.len())];
        let second = SECOND[pick(&mut random, SECOND.len())];
        Self {
            name: format!("{first} {second} (simulated)"),
            complaint: complaint.to_owned(),
            parts: None,
            config: MachineConfig {
                trimmer,
                // It stood right for years before somebody turned it.
                wiper: dirty_at(vec![trimmer.position, right], jump_percent, &mut random),
                lag_s: random.between(0.06, 0.18),
                cold_percent: random.between(-0.25, -0.1),
                warm_up_s: random.between(40.0, 90.0),
                pack_percent_per_min: random.between(-0.02, 0.02),
                flutter: FlutterModel::portable().scaled(random.between(0.7, 1.4)),
                level_dbfs: random.between(-16.0, -9.0),
                right_louder_db: random.between(-1.5, 1.5),
                right_later_us: random.between(-25.0, 25.0),
                hiss_snr_db: Some(random.between(38.0, 46.0)),
                hum: random.chance(0.3).then(|| HumConfig {
                    mains_hz: 50.0,
                    below_tone_db: random.between(44.0, 54.0),
                }),
                dropouts: DropoutConfig {
                    per_minute: random.between(0.0, 1.5),
                    length_s: random.between(0.01, 0.04),
                    depth_db: random.between(12.0, 30.0),
                },
                ..MachineConfig::ideal()
            },
        }
    }
}

/// Where a dead place begins, as a share of the travel, and how long it is.
/// Invented; it lies apart from where the machines arrive and are right.
const DEAD_LENGTH: f64 = 0.1;
/// Distance from the end of the travel at which right speed lies where the
/// trimmer is not to blame. Invented.
const FROM_THE_END: f64 = 0.04;

impl PracticeMachine {
    /// The same machine with this wrong with its trimmer instead.
    #[must_use]
    pub fn with_trimmer(mut self, fault: TrimmerFault) -> Self {
        let right = right_position(&self.config.trimmer);
        match fault {
            TrimmerFault::Dirty => return self,
            TrimmerFault::Worn => {
                self.config.wiper.worn = true;
                return self;
            }
            TrimmerFault::Dead => {
                let from = if right < 0.5 { 0.75 } else { 0.15 };
                self.config.trimmer.dead = Some([from, from + DEAD_LENGTH]);
            }
            TrimmerFault::AtTheEnd => {
                let trimmer = &mut self.config.trimmer;
                // Most of the travel towards that end is used up already.
                let (stands, aim) = if trimmer.position < right {
                    (0.7, 1.0 - FROM_THE_END)
                } else {
                    (0.3, FROM_THE_END)
                };
                trimmer.position = stands;
                let off = trimmer.percent_at(aim);
                trimmer.percent_at_start -= off;
                trimmer.percent_at_end -= off;
            }
            TrimmerFault::None => {}
        }
        self.config.wiper = WiperConfig::clean();
        let trimmer = &self.config.trimmer;
        self.complaint = String::from(match (fault, trimmer.percent_at(trimmer.position) < 0.0) {
            (TrimmerFault::AtTheEnd, true) => "has become slower and slower",
            (TrimmerFault::AtTheEnd, false) => "has become faster and faster",
            (_, true) => "plays flat",
            (_, false) => "plays sharp",
        });
        self
    }

    /// More speeds or directions of this machine, one for each tone in hertz:
    /// each has a trimmer of its own that stands about as wrong.
    pub fn other_runs(&self, tones_hz: &[f64], seed: u64) -> Vec<RunConfig> {
        // Far from the numbers that people try one after another.
        const APART: u64 = 1 << 32;
        (1u64..)
            .zip(tones_hz)
            .map(|(number, &tone_hz)| {
                let other = Self::of_seed(seed.wrapping_add(number * APART));
                RunConfig {
                    tone_hz,
                    trimmer: other.config.trimmer,
                    wiper: other.config.wiper,
                }
            })
            .collect()
    }
}

fn pick(random: &mut Random, among: usize) -> usize {
    (random.unit() * among as f64) as usize
}

/// A trimmer that stands wrong by this, with right speed well inside its
/// travel: turned up it may go faster or slower, over a range of its own.
fn trimmer_off_by(percent: f64, random: &mut Random) -> TrimmerConfig {
    let span = random.between(9.0, 14.0);
    let up_is_faster = random.chance(0.5);
    let bow = random.between(-0.25, 0.25);
    // Slow and faster when turned up, or fast and slower when turned up:
    // right lies above where it stands; else below.
    let right_is_above = (percent < 0.0) == up_is_faster;
    let aside = random.between(0.12, 0.3);
    let position = if right_is_above { aside } else { 1.0 - aside };
    let towards_end = if up_is_faster { span } else { -span };
    let share = position + bow * position * (1.0 - position);
    let percent_at_start = percent - towards_end * share;
    TrimmerConfig {
        position,
        percent_at_start,
        percent_at_end: percent_at_start + towards_end,
        bow,
        dead: None,
    }
}

/// Where a clean wiper gives right speed: halving the travel, which is
/// monotone.
fn right_position(trimmer: &TrimmerConfig) -> f64 {
    let rises = trimmer.percent_at_end > trimmer.percent_at_start;
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..50 {
        let middle = f64::midpoint(low, high);
        if (trimmer.percent_at(middle) < 0.0) == rises {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

/// Contact resistance always adds; which way that moves the speed depends on
/// how the trimmer is wired.
fn dirt_jump(random: &mut Random) -> f64 {
    let size = random.between(0.5, 0.9);
    if random.chance(0.5) { size } else { -size }
}

fn dirty_at(rested_at: Vec<f64>, jump_percent: f64, random: &mut Random) -> WiperConfig {
    WiperConfig {
        rested_at,
        spots_each: 5,
        reach: 0.05,
        half_width: 0.014,
        jump_percent,
        crackle_percent: random.between(0.05, 0.12),
        crackles_per_second: random.between(0.1, 0.3),
        worn: false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rehearsal::SimulatedMachine;

    fn seconds(machine: &mut SimulatedMachine, seconds: usize) {
        let mut block = vec![0.0; 960];
        for _ in 0..seconds * 100 {
            machine.fill(&mut block);
        }
    }

    /// Turns by halves until the mean deviation is right, as a patient person
    /// would; returns what is left.
    fn trim(machine: &mut SimulatedMachine) -> f64 {
        let trimmer = machine.config().trimmer;
        let rises = trimmer.percent_at_end > trimmer.percent_at_start;
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..14 {
            let middle = f64::midpoint(low, high);
            machine.set_trimmer(middle);
            if (machine.aimed_deviation().0 < 0.0) == rises {
                low = middle;
            } else {
                high = middle;
            }
        }
        seconds(machine, 3);
        machine.mean_deviation().0
    }

    #[test]
    fn every_machine_arrives_wrong_and_can_be_put_right() {
        for seed in 0..40 {
            let practice = PracticeMachine::of_seed(seed);
            assert!(practice.name.ends_with("(simulated)"), "{seed}");
            let mut machine = SimulatedMachine::new(practice.config, seed);
            seconds(&mut machine, 1);
            let before = machine.mean_deviation().0.abs();
            assert!((1.0..5.0).contains(&before), "seed {seed}: {before}");
            assert!((machine.wiper_dirt() - 1.0).abs() < 1e-12, "seed {seed}");

            machine.power_off();
            for _ in 0..3 {
                machine.clean_wiper_stroke();
            }
            machine.power_on();
            seconds(&mut machine, 5);
            assert!(machine.wiper_dirt() < 1e-12, "seed {seed}");
            let after = trim(&mut machine);
            assert!(after.abs() < 0.03, "seed {seed}: {after}");
            assert!((0.1..0.9).contains(&machine.trimmer()), "seed {seed}");
        }
    }

    #[test]
    fn uncleaned_the_speed_jumps_where_it_ought_to_be_right() {
        for seed in 0..40 {
            let config = PracticeMachine::of_seed(seed).config;
            let right = right_position(&config.trimmer);
            let jump = config.wiper.jump_percent.abs();
            let mut machine = SimulatedMachine::new(config, seed);
            let mut last = None;
            let mut greatest: f64 = 0.0;
            for step in -15..=15 {
                machine.set_trimmer(right + f64::from(step) * 0.005);
                let now = machine.aimed_deviation().0;
                greatest = greatest.max(last.map_or(0.0, |last: f64| (now - last).abs()));
                last = Some(now);
            }
            // Half a percent of the travel is at most 0.09 % on a clean one.
            assert!(greatest > jump * 0.4, "seed {seed}: {greatest} of {jump}");
        }
    }

    #[test]
    fn each_fault_of_a_trimmer_is_what_it_says() {
        for seed in 0..20 {
            let machine = |fault| PracticeMachine::of_seed(seed).with_trimmer(fault).config;
            assert_eq!(
                machine(TrimmerFault::Dirty),
                PracticeMachine::of_seed(seed).config
            );
            assert!(machine(TrimmerFault::Worn).wiper.worn);
            let none = machine(TrimmerFault::None);
            assert_eq!(none.wiper, WiperConfig::clean());
            let right = right_position(&none.trimmer);

            let dead = machine(TrimmerFault::Dead).trimmer;
            let [from, to] = dead.dead.expect("a dead place");
            assert!((dead.percent_at(from) - dead.percent_at(to)).abs() < 1e-9);
            assert!(!(from..=to).contains(&right), "{seed}");
            assert!(right_position(&dead) < 0.95, "{seed}");

            let end = machine(TrimmerFault::AtTheEnd).trimmer;
            let right = right_position(&end);
            assert!(!(0.06..0.94).contains(&right), "{seed}: {right}");
        }
    }

    #[test]
    fn the_first_machine_is_about_three_percent_slow() {
        let practice = PracticeMachine::of_seed(1);
        let machine = SimulatedMachine::new(practice.config, 1);
        let deviation = machine.mean_deviation().0;
        assert!((-4.5..-2.0).contains(&deviation), "{deviation}");
    }

    #[test]
    fn seeds_give_different_machines() {
        let first = PracticeMachine::of_seed(1);
        assert_eq!(first, PracticeMachine::of_seed(1));
        for seed in 2..60 {
            let other = PracticeMachine::of_seed(seed).config;
            assert!(other != first.config, "{seed}");
            let arrives = other.trimmer.percent_at(other.trimmer.position);
            assert_eq!(arrives > 0.0, seed % 4 == 0, "{seed}: {arrives}");
        }
    }
}

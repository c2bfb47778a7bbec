//! Machines whose transport has a fault: which part it is must be found out.
//! Strengths are invented; how a part shows itself is common practice.

use super::flutter::{FlutterLine, FlutterModel, Follows, Hunting};
use super::machine::MachineConfig;
use super::noise::{Purpose, Random};
use super::part_faults::PartFault;
use super::practice::PracticeMachine;
use super::supply::SupplyConfig;
use super::transports::{MachineParts, TRANSPORTS, TruePart};

/// Peak in percent of a part that is at fault, and of one that is not.
const FAULTY: [f64; 2] = [0.08, 0.2];
const SOUND: [f64; 2] = [0.004, 0.03];
/// Peak of a second line of a part over its first.
const SECOND: [f64; 2] = [0.1, 0.6];
/// Correlation time of the slow noise, as in the other machines.
const CORRELATION_S: f64 = 0.3;

impl PracticeMachine {
    /// The same machine with another transport, drawn from the seed: one that
    /// can have this fault, and has it.
    #[must_use]
    pub fn with_part(mut self, fault: PartFault, seed: u64) -> Self {
        let mut random = Random::new(seed, Purpose::Parts);
        let able: Vec<_> = TRANSPORTS.iter().filter(|it| it.can_have(fault)).collect();
        // Each fault has its transport: see the test.
        let transport = able[(random.unit() * able.len() as f64) as usize];
        let parts = transport.parts(&mut random);
        let candidates: Vec<usize> = (0..parts.len())
            .filter(|&at| parts[at].fault == fault)
            .collect();
        let drawn = (random.unit() * candidates.len() as f64) as usize;
        let faulty = candidates.get(drawn).copied();

        let noise = random.between(0.02, transport.noise_percent);
        self.config.flutter = FlutterModel {
            white_percent: noise,
            correlated_percent: noise * random.between(0.0, 0.6),
            correlation_s: CORRELATION_S,
            ..FlutterModel::none()
        };
        let mut truth = "nothing was wrong with any part".to_owned();
        for (at, part) in parts.iter().enumerate() {
            let is_faulty = faulty == Some(at);
            let lines = lines_of(part, is_faulty, &mut random);
            if is_faulty {
                truth = said_of(part, &lines);
            }
            self.config.flutter.lines.extend(lines);
        }
        if let Some(said) = elsewhere(&mut self.config, fault, &mut random) {
            truth = said;
        }
        if let Some(also) = fault.complaint() {
            self.complaint = format!("{}; {also}", self.complaint);
        }
        self.parts = Some(MachineParts {
            transport: transport.name,
            speed_cm_s: transport.speed_cm_s,
            parts,
            fault,
            faulty,
            truth,
        });
        self
    }
}

/// The lines that a part makes, once a turn first.
fn lines_of(part: &TruePart, is_faulty: bool, random: &mut Random) -> Vec<FlutterLine> {
    let peak = if is_faulty {
        random.between(FAULTY[0], FAULTY[1])
    } else {
        SOUND[0] * (SOUND[1] / SOUND[0]).powf(random.unit())
    };
    let strays = random.unit() * straying_turns(part.fault);
    let mut lines = Vec::new();
    for (nth, hz) in part.rates_hz().enumerate() {
        let order = hz / part.turns_per_second;
        let peak_percent = match nth {
            0 => peak,
            _ if is_faulty || random.chance(0.5) => peak * random.between(SECOND[0], SECOND[1]),
            _ => continue,
        };
        lines.push(FlutterLine {
            follows: part.pack.map_or(Follows::Speed, Follows::Pack),
            strays_turns: strays * order,
            ..FlutterLine::new(hz, peak_percent)
        });
    }
    lines
}

/// How far the phase of a part may have strayed from the tape after a minute,
/// turns: the tape hardly slips on a capstan, a belt creeps.
fn straying_turns(fault: PartFault) -> f64 {
    match fault {
        PartFault::Capstan => 0.02,
        PartFault::Belt => 0.3,
        _ => 0.1,
    }
}

fn said_of(part: &TruePart, lines: &[FlutterLine]) -> String {
    let shown = lines.iter().map(|line| {
        let order = line.hz / part.turns_per_second;
        let often = match order.round() as u32 {
            1 => "once a turn".to_owned(),
            2 => "twice".to_owned(),
            more => format!("{more} times"),
        };
        format!(", {often} {:.3} %", line.peak_percent)
    });
    format!(
        "the {}: {:.3} turns a second at right speed{}",
        part.name,
        part.turns_per_second,
        shown.collect::<String>()
    )
}

/// What is wrong and is no rotating part, with what to say of it.
fn elsewhere(config: &mut MachineConfig, fault: PartFault, random: &mut Random) -> Option<String> {
    Some(match fault {
        PartFault::Ripple => {
            let mains = if random.chance(0.5) { 50.0 } else { 60.0 };
            let hz = if random.chance(0.7) {
                2.0 * mains
            } else {
                mains
            };
            let peak = random.between(FAULTY[0], FAULTY[1]);
            config.flutter.lines.push(FlutterLine {
                follows: Follows::Nothing,
                ..FlutterLine::new(hz, peak)
            });
            format!("ripple of the mains, which keeps its {hz} Hz at any speed, {peak:.3} %")
        }
        PartFault::Hunting => {
            let hunting = Hunting {
                percent: random.between(FAULTY[0], FAULTY[1]),
                hz: random.between(1.0, 4.0),
                quality: random.between(3.0, 8.0),
            };
            config.flutter.hunting = hunting;
            format!(
                "the governor hunts about {:.1} Hz, {:.3} % rms",
                hunting.hz, hunting.percent
            )
        }
        PartFault::TiredCells => {
            let supply = SupplyConfig {
                percent_per_volt: random.between(1.5, 4.0),
                volts_lost_per_minute: random.between(0.08, 0.2),
                ..config.supply
            };
            config.supply = supply;
            format!(
                "tired cells behind a governor that does not hold: {:.2} % slower each minute, \
                 {:.1} % a volt",
                supply.percent_per_volt * supply.volts_lost_per_minute,
                supply.percent_per_volt
            )
        }
        PartFault::Azimuth => {
            let later = random.between(40.0, 140.0);
            config.right_later_us = if random.chance(0.5) { later } else { -later };
            let late = if config.right_later_us > 0.0 {
                "right"
            } else {
                "left"
            };
            format!("azimuth: the {late} channel is {later:.0} µs late")
        }
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn machine(fault: PartFault, seed: u64) -> PracticeMachine {
        PracticeMachine::of_seed(seed).with_part(fault, seed)
    }

    fn parts(machine: &PracticeMachine) -> &MachineParts {
        machine.parts.as_ref().expect("a machine with parts")
    }

    #[test]
    fn every_fault_has_its_machine_and_the_same_seed_the_same() {
        for fault in PartFault::ALL {
            for seed in 0..40 {
                let practice = machine(fault, seed);
                assert_eq!(practice, machine(fault, seed));
                let known = parts(&practice);
                assert_eq!(known.fault, fault);
                let named = known.faulty.map(|at| known.parts[at].fault);
                let turns = !matches!(
                    fault,
                    PartFault::Ripple
                        | PartFault::Hunting
                        | PartFault::TiredCells
                        | PartFault::Azimuth
                );
                assert_eq!(named, turns.then_some(fault));
                assert!(!known.truth.contains("nothing"), "{}", known.truth);
            }
        }
    }

    #[test]
    fn the_faulty_part_wavers_most_and_at_its_own_rate() {
        for seed in 0..40 {
            for fault in [PartFault::Capstan, PartFault::Reel, PartFault::Motor] {
                let practice = machine(fault, seed);
                let known = parts(&practice);
                let part = &known.parts[known.faulty.expect("a part")];
                let lines = &practice.config.flutter.lines;
                let strongest = lines
                    .iter()
                    .max_by(|a, b| a.peak_percent.total_cmp(&b.peak_percent))
                    .expect("lines");
                assert!((strongest.hz / part.turns_per_second - 1.0).abs() < 1e-12);
                let twice = lines.iter().filter(|line| {
                    let order = line.hz / part.turns_per_second;
                    (order - 2.0).abs() < 1e-9 || (order - 3.0).abs() < 1e-9
                });
                assert!(twice.count() >= 1, "{seed} {fault:?}");
            }
        }
    }

    #[test]
    fn faults_that_are_no_part_are_in_the_machine() {
        for seed in 0..20 {
            let config = |fault| machine(fault, seed).config;
            let ripple = config(PartFault::Ripple).flutter.lines;
            assert!(ripple.iter().any(|line| line.follows == Follows::Nothing));
            assert!(config(PartFault::Hunting).flutter.hunting.percent > 0.05);
            let supply = config(PartFault::TiredCells).supply;
            assert!(supply.percent_per_volt * supply.volts_lost_per_minute > 0.1);
            assert!(config(PartFault::Azimuth).right_later_us.abs() > 30.0);
            assert_eq!(
                config(PartFault::None).supply,
                PracticeMachine::of_seed(seed).config.supply
            );
        }
    }
}

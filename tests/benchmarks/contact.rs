//! The contact check on a simulated control: how many breaks it finds, how
//! many it invents, and how well it counts crackles.
//!
//! `cargo bench --bench contact`: sweeps of a simulated control while a tone
//! or invented music plays, other seeds than those used while the thresholds
//! were chosen. `-- 40` runs fewer, `-- 40 calibrate` the seeds of the
//! choosing.

#[path = "../support/mod.rs"]
mod support;

use support::played::{self, Dice, RATE_HZ};
use support::seeds::{has, numbers};
use tapewright::readings::contact::{ContactCheck, ContactReport};
use tapewright::rehearsal::{
    Control, ControlConfig, ControlFault, ControlFaultKind, DirtyTracks, SweepingConfig,
};

#[derive(Clone, Copy, Debug, PartialEq)]
enum Plays {
    Tone,
    Music,
}

/// One sweep: what was played and what was read.
struct Sweep {
    faults: Vec<ControlFault>,
    report: ContactReport,
    seconds: f64,
}

fn hand(dice: &mut Dice) -> SweepingConfig {
    SweepingConfig {
        ends: [dice.between(0.05, 0.2), 1.0],
        round_trip_s: dice.between(2.5, 8.0),
        rest_s: dice.between(0.2, 0.6),
        tremble: dice.between(0.0003, 0.002),
        stops_per_minute: dice.between(0.0, 8.0),
        ..SweepingConfig::calm()
    }
}

fn sweep(plays: Plays, seed: u64, config: &ControlConfig) -> Sweep {
    let mut dice = Dice::at(seed ^ 0x00C0_FFEE);
    let hand = hand(&mut dice);
    let seconds = hand.round_trip_s * 1.6 + 4.0;
    let sound = match plays {
        Plays::Tone => played::tone([3150.0, 1000.0, 315.0][dice.below(3)], seconds, seed),
        Plays::Music => played::music(seconds, seed),
    };
    let mut samples = sound.interleaved();
    let mut control = Control::new(config.clone(), seed);
    // A second of it untouched first.
    control.pass(&mut samples[..2 * RATE_HZ as usize]);
    control.work(hand);
    let mut at = 2 * RATE_HZ as usize;
    while control.is_worked() && at + 960 <= samples.len() {
        control.pass(&mut samples[at..at + 960]);
        at += 960;
    }
    let end = (at + RATE_HZ as usize).min(samples.len());
    control.pass(&mut samples[at..end]);
    let samples = &mut samples[..end];
    played::recorded(samples, seed);
    let mut check = ContactCheck::new(RATE_HZ, config.channels);
    for block in samples.chunks(1024) {
        check.push(block);
    }
    Sweep {
        faults: control.faults().to_vec(),
        report: check.report(),
        seconds: samples.len() as f64 / 2.0 / f64::from(RATE_HZ),
    }
}

#[derive(Clone, Copy, Debug, Default)]
struct Count {
    sweeps: u32,
    breaks: u32,
    found: u32,
    false_breaks: u32,
    crackles: u32,
    crackles_found: u32,
    false_crackles: u32,
    depth_error: f64,
    length_error: f64,
    seconds: f64,
}

impl Count {
    fn take(&mut self, sweep: &Sweep, depth_db: f64, length_s: f64) {
        self.sweeps += 1;
        self.seconds += sweep.seconds;
        for (track, channel) in sweep.report.channels.iter().enumerate() {
            let breaks = played::starts(&sweep.faults, ControlFaultKind::Break, track);
            let crackles = played::starts(&sweep.faults, ControlFaultKind::Crackle, track);
            let near = |a: f64, b: f64, within: f64| (a - b).abs() < within;
            for begin in &breaks {
                self.breaks += 1;
                let hit = channel
                    .breaks
                    .iter()
                    .find(|it| near(it.start.0, *begin, 0.004));
                if let Some(hit) = hit {
                    self.found += 1;
                    self.depth_error += (hit.depth.0.min(30.0) - depth_db.min(30.0)).abs();
                    self.length_error += (hit.length.0 - length_s).abs();
                }
            }
            for found in &channel.breaks {
                if !breaks.iter().any(|it| near(*it, found.start.0, 0.004)) {
                    self.false_breaks += 1;
                }
            }
            for begin in &crackles {
                self.crackles += 1;
                let hit = channel
                    .crackle_places
                    .iter()
                    .any(|it| near(it.0.0, *begin, 0.008));
                self.crackles_found += u32::from(hit);
            }
            for (found, _) in &channel.crackle_places {
                if !crackles.iter().any(|it| near(*it, found.0, 0.012)) {
                    self.false_crackles += 1;
                }
            }
        }
    }

    fn print(&self, name: &str) {
        let share = |a: u32, b: u32| 100.0 * f64::from(a) / f64::from(b.max(1));
        let each = |a: u32| f64::from(a) / f64::from(self.sweeps.max(1));
        println!(
            "{name:<34} {:>5} {:>7} {:>7.1} {:>8.3} {:>6.1} {:>6.1} {:>7} {:>7.1} {:>8.3}",
            self.sweeps,
            self.breaks,
            share(self.found, self.breaks),
            each(self.false_breaks),
            self.depth_error / f64::from(self.found.max(1)),
            1000.0 * self.length_error / f64::from(self.found.max(1)),
            self.crackles,
            share(self.crackles_found, self.crackles),
            each(self.false_crackles),
        );
    }
}

fn dirty(depth_db: f64, length_s: f64, seed: u64) -> ControlConfig {
    let mut dice = Dice::at(seed ^ 0xD17);
    ControlConfig {
        taper: dice.between(1.0, 3.0),
        tracking_db: dice.between(-2.0, 2.0),
        break_spots: 4,
        break_depth_db: depth_db,
        break_length_s: length_s,
        break_edge_s: dice.between(0.000_02, 0.001).min(length_s / 2.0),
        crackle_spots: 4,
        crackle_dbfs: dice.between(-32.0, -12.0),
        dirty: DirtyTracks::Mixed,
        ..ControlConfig::clean()
    }
}

fn main() {
    let sweeps = numbers().first().map_or(400, |it| *it as u64);
    let quick = has("quick");
    let first = if has("calibrate") { 1 } else { 1_000_001 };
    println!(
        "{:<34} sweep  breaks found % false/sw dB off ms off  crackl found % false/sw",
        ""
    );
    for plays in [Plays::Tone, Plays::Music] {
        if (plays == Plays::Tone && has("music")) || (plays == Plays::Music && has("tone")) {
            continue;
        }
        let mut clean = Count::default();
        for seed in first..first + sweeps {
            let result = sweep(plays, seed, &ControlConfig::clean());
            clean.take(&result, 0.0, 0.0);
        }
        clean.print(&format!("{plays:?}, clean"));
        for (depth_db, asked_depth) in [(3.0, false), (6.0, true), (10.0, false), (20.0, false)] {
            for length_ms in [1, 2, 5, 10, 50] {
                let length_s = f64::from(length_ms) / 1000.0;
                let asked_length = length_ms == 5;
                // In music breaks are not looked for: its row is for crackles.
                let one = has("one") || plays == Plays::Music;
                if one && !(asked_depth && asked_length) {
                    continue;
                }
                if quick && !(asked_depth || asked_length) {
                    continue;
                }
                let mut count = Count::default();
                for seed in first..first + sweeps {
                    let config = dirty(depth_db, length_s, seed);
                    count.take(&sweep(plays, seed, &config), depth_db, length_s);
                }
                count.print(&format!("{plays:?}, {depth_db} dB, {length_ms} ms"));
            }
        }
    }
}

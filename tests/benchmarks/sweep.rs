//! How many faults of a wiper are found, and how often a clean one is accused.

#[path = "../support/sweeps.rs"]
mod sweeps;

use sweeps::{Dice, Shape, Sweep, even_but_shaky, movements, staircase};
use tapewright::readings::{SweepVerdict, judge_track};
use tapewright::rehearsal::{SweepingConfig, SweepingHand};

fn wandering(seed: u64) -> Vec<f64> {
    let config = SweepingConfig::of_seed(seed);
    let mut hand = SweepingHand::new(config, config.ends[0], seed);
    let mut positions = Vec::new();
    while !hand.is_done() {
        positions.push(hand.position_at(positions.len() as f64 / sweeps::RATE_HZ));
    }
    positions
}

fn hand(family: usize, seed: u64) -> Vec<f64> {
    match family {
        0 => wandering(seed),
        1 => movements(&mut Dice::new(seed ^ 0x77)),
        2 => staircase(&mut Dice::new(seed ^ 0x77)),
        3 => even_but_shaky(&mut Dice::new(seed ^ 0x77)),
        _ => {
            let config = SweepingConfig {
                unevenness: 0.6,
                stops_per_minute: 15.0,
                backs_per_minute: 10.0,
                ..SweepingConfig::of_seed(seed)
            };
            let mut hand = SweepingHand::new(config, config.ends[0], seed);
            let mut positions = Vec::new();
            while !hand.is_done() {
                positions.push(hand.position_at(positions.len() as f64 / sweeps::RATE_HZ));
            }
            positions
        }
    }
}

fn quantile(sorted: &[f64], q: f64) -> f64 {
    sorted[((sorted.len() as f64 * q) as usize).min(sorted.len() - 1)]
}

fn main() {
    let n: u64 = std::env::args()
        .skip_while(|a| a != "--trials")
        .nth(1)
        .and_then(|n| n.parse().ok())
        .unwrap_or(400);
    for family in 0..5 {
        let mut clean: Vec<f64> = Vec::new();
        let mut verdicts = [0; 4];
        let start = std::time::Instant::now();
        for seed in 0..2 * n {
            let mut dice = Dice::new(seed);
            let sweep = Sweep::clean(hand(family, seed), &mut dice);
            let report = judge_track(&sweep.track(&mut dice), sweeps::RATE_HZ);
            verdicts[report.verdict as usize] += 1;
            clean.push(report.evidence);
        }
        clean.sort_by(f64::total_cmp);
        println!(
            "family {family} clean: 50 % {:.2} 95 % {:.2} 99 % {:.2} 99.5 % {:.2} max {:.2} verdicts {verdicts:?} {:.1} ms each",
            quantile(&clean, 0.5),
            quantile(&clean, 0.95),
            quantile(&clean, 0.99),
            quantile(&clean, 0.995),
            clean[clean.len() - 1],
            start.elapsed().as_secs_f64() * 1e3 / (2 * n) as f64,
        );
        let q99 = quantile(&clean, 0.99);
        for shape in [Shape::Box, Shape::Bump, Shape::Random] {
            for depth in [1.0, 0.5, 0.3] {
                let (mut long, mut long_found, mut long_q) = (0, 0, 0);
                let (mut short, mut short_found, mut short_q) = (0, 0, 0);
                let mut placed = 0;
                for seed in 0..n {
                    let mut dice = Dice::new(seed + 10_000);
                    let sweep = Sweep::clean(hand(family, seed + 10_000), &mut dice)
                        .with_fault(shape, depth, &mut dice);
                    let report = judge_track(&sweep.track(&mut dice), sweeps::RATE_HZ);
                    let found = report.verdict == SweepVerdict::Erratic;
                    let q = report.evidence > q99;
                    let at = sweep.percent_at(sweep.faults[0].centre);
                    if found
                        && (report.bad_spots[0].at.0 - at).abs() < 0.05 * (sweep.high - sweep.low)
                    {
                        placed += 1;
                    }
                    if sweep.shortest_dwell_s() >= sweep.lag_s {
                        long += 1;
                        long_found += u32::from(found);
                        long_q += u32::from(q);
                    } else {
                        short += 1;
                        short_found += u32::from(found);
                        short_q += u32::from(q);
                    }
                }
                println!(
                    "  {shape:?} {depth}: long dwell {long_found}/{long} = {:.3} (at q99 {:.3}); short {short_found}/{short} = {:.3} ({:.3}); right place {placed}",
                    f64::from(long_found) / f64::from(long.max(1)),
                    f64::from(long_q) / f64::from(long.max(1)),
                    f64::from(short_found) / f64::from(short.max(1)),
                    f64::from(short_q) / f64::from(short.max(1)),
                );
            }
        }
    }
}

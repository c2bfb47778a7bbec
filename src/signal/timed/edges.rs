//! Where a passage begins and ends in a series of powers, and how far that
//! can be trusted.

use super::envelope::{smoothed, usual};
pub use super::sounding::NoPassage;
use super::sounding::{BELOW_LEVEL, Reach, Sounding};

/// Sound is told from its pauses in blocks of this length.
const BLOCK_S: f64 = 0.02;

/// The lowest threshold lies 26 dB below what the edge rises to within
/// [`EDGE_S`]: filters ring for longer below it.
const BELOW_EDGE: f64 = 0.0025;
const EDGE_S: f64 = 0.04;

/// Powers are taken over this while edges are looked for.
const FINE_S: f64 = 0.005;

/// A crossing belongs to the edge if no longer pause follows.
const PAUSE_S: f64 = 0.03;

/// Time before the edge in which noise is heard, and what is left out of it next
/// to the edge.
const NOISE_S: f64 = 2.0;
const NEXT_TO_EDGE_S: f64 = 0.04;

/// Least silence before the first sound and after the last.
pub const LEAD_S: f64 = 0.1;

/// Powers between which the steepness of an edge is taken, beyond the noise.
const RISE: f64 = 10.0;

/// Where an edge begins before its lowest crossing, in terms of what it takes
/// to rise by [`RISE`]. For an amplitude that goes with the n-th power of the
/// time since, that is 1 / (10^(1/2n) − 1): 0.46 for straight ramps, 1.28 for
/// those that begin as a parabola (raised cosine), 2.14 for a straight attack
/// under such a fade. The middle, and half of the distance.
const BEFORE: f64 = 1.3;
const BEFORE_OR_LESS: f64 = 0.9;

/// An edge softer than the first may have begun long before: of what is more,
/// this many times go into its ±. One softer than the second says nothing. Tuned,
/// as all that follows, and judged by `--bench references -- passage`.
const SOFT_S: [f64; 2] = [0.06, 0.1];
const LONG_BEFORE: f64 = 2.5;

/// The same of a passage that has pauses, as speech: another syllable may lie
/// before the first that is heard.
const SOFT_WITH_PAUSES_S: [f64; 2] = [0.01, 0.025];
const LONG_BEFORE_WITH_PAUSES: f64 = 5.0;

/// A passage has pauses where this part of it lies 25 dB below its level.
const PAUSES: f64 = 0.1;
const BELOW_IN_PAUSES: f64 = 0.003_16;

/// Most of its own sound that the noise may hide at an end.
const MOST_HIDDEN_S: f64 = 0.1;

/// What ringing of the band and the length of a hop leave.
const LEAST_S: f64 = 0.0035;

/// How long filters ring after the last sound.
const RINGING_S: f64 = 0.0008;

/// One end of a passage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// When, in seconds from the first hop.
    pub at_s: f64,
    /// 95 %, in seconds.
    pub uncertainty_s: f64,
    /// What it takes to rise by 10 dB, in seconds.
    pub rise_s: f64,
    /// Power of the noise outside.
    pub noise: f64,
    /// What has to be exceeded to stand out of that noise, as a power.
    pub audible: f64,
}

/// A passage with both ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Passage {
    /// First sound.
    pub start: Edge,
    /// Last sound.
    pub end: Edge,
    /// Power of its louder parts.
    pub level: f64,
    /// Clicks before and after that were left out.
    pub clicks: usize,
}

/// Finds the passage in powers of hops of `hop_s` seconds.
pub fn passage(power: &[f32], hop_s: f64) -> Result<Passage, NoPassage> {
    let block = hops(BLOCK_S, hop_s);
    let blocks: Vec<f64> = power
        .chunks_exact(block)
        .map(|hops| hops.iter().map(|&p| f64::from(p)).sum::<f64>() / block as f64)
        .collect();
    let sounding = Sounding::of(&blocks)?;
    let block_s = block as f64 * hop_s;
    let Reach {
        first,
        last,
        clicks,
    } = sounding.reach(&blocks, block_s);
    let lead = (LEAD_S / block_s).ceil() as usize;
    if first < lead {
        return Err(NoPassage::Begun);
    }
    if last + lead >= blocks.len() {
        return Err(NoPassage::Unended);
    }
    let mut start = edge(power, hop_s, first * block, sounding.level);
    let backwards: Vec<f32> = power.iter().rev().copied().collect();
    let from_behind = power.len() - (last + 1) * block;
    let mut end = edge(&backwards, hop_s, from_behind, sounding.level);
    end.at_s = power.len() as f64 * hop_s - end.at_s - RINGING_S;
    let within = &blocks[first..=last];
    let audible = start.audible.max(end.audible);
    let hidden_s = hidden(within, block_s, audible, sounding.level);
    if hidden_s > MOST_HIDDEN_S {
        return Err(NoPassage::InTheNoise);
    }
    let quiet = BELOW_IN_PAUSES * sounding.level;
    let in_pauses = within.iter().filter(|power| **power < quiet).count();
    let pauses = in_pauses as f64 > PAUSES * within.len() as f64;
    let softness = |edge: &Edge| softness(edge, pauses, hidden_s);
    start.uncertainty_s += softness(&start).ok_or(NoPassage::FadesIn)?;
    end.uncertainty_s += softness(&end).ok_or(NoPassage::FadesOut)?;
    Ok(Passage {
        start,
        end,
        level: sounding.level,
        clicks,
    })
}

/// What a soft edge, and sound as quiet as the noise, add to the ± of an edge;
/// `None` where it cannot be said.
fn softness(edge: &Edge, pauses: bool, hidden_s: f64) -> Option<f64> {
    let (limits, times) = if pauses {
        (SOFT_WITH_PAUSES_S, LONG_BEFORE_WITH_PAUSES)
    } else {
        (SOFT_S, LONG_BEFORE)
    };
    let more = times * (edge.rise_s - limits[0]).max(0.0);
    (edge.rise_s <= limits[1]).then_some(more + hidden_s)
}

fn hops(seconds: f64, hop_s: f64) -> usize {
    (seconds / hop_s).round().max(1.0) as usize
}

/// The edge at the block that begins with hop `coarse`, seen from outside.
fn edge(power: &[f32], hop_s: f64, coarse: usize, level: f64) -> Edge {
    let width = hops(FINE_S, hop_s);
    let mean = |from: usize, to: usize| {
        let part = &power[from.min(power.len())..to.min(power.len())];
        part.iter().map(|&p| f64::from(p)).sum::<f64>() / part.len().max(1) as f64
    };
    let quiet_to = coarse.saturating_sub(hops(NEXT_TO_EDGE_S, hop_s));
    let quiet_from = quiet_to.saturating_sub(hops(NOISE_S, hop_s));
    let (noise, scatter) = usual(&mut smoothed(&power[quiet_from..quiet_to], width));
    let reached = (coarse..coarse + hops(EDGE_S, hop_s))
        .step_by(width)
        .map(|from| mean(from, from + 2 * width))
        .fold(0.0, f64::max);
    let audible = (6.0 * scatter).max(noise);
    let beyond = audible.max(BELOW_EDGE * reached).max(BELOW_LEVEL * level);
    let threshold = noise + beyond;
    // The value at k ends with hop k: it rises as soon as sound begins.
    let from = quiet_to.saturating_sub(hops(1.0, hop_s)).max(width - 1);
    let to = (coarse + hops(1.0, hop_s)).min(power.len());
    let fine = smoothed(&power[from + 1 - width..to], width);
    let value = |k: usize| f64::from(fine[k]);
    let time = |k: f64| (from as f64 + k + 1.0) * hop_s;
    let begin = crossing(&fine, coarse - from, threshold, hops(PAUSE_S, hop_s));
    let first = time(between(&fine, begin, threshold));
    // Near the noise there is no room for ten times the power.
    let ratio = RISE.min(0.5 * reached / beyond).max(1.5);
    let high = noise + ratio * beyond;
    let risen = (begin..fine.len())
        .find(|&k| value(k) > high)
        .unwrap_or(fine.len() - 1);
    let near = mean(from + begin + width, from + begin + 3 * width);
    let window_s = width as f64 * hop_s;
    // What the window itself adds to an edge that is none: see `smoothed`.
    let own = |beyond: f64| window_s * (beyond / near.max(beyond)).min(1.0);
    let took = time(between(&fine, risen, high)) - first;
    let straight = (RISE.sqrt() - 1.0) / (ratio.sqrt() - 1.0);
    let rise_s = (took - (own(ratio * beyond) - own(beyond))).max(0.0) * straight;
    Edge {
        at_s: first - own(beyond) - BEFORE * rise_s,
        uncertainty_s: LEAST_S + BEFORE_OR_LESS * rise_s + rise_s * (scatter / beyond).min(1.0),
        rise_s,
        noise,
        audible,
    }
}

/// The first value of those around `coarse` that are beyond the threshold,
/// pauses bridged.
fn crossing(fine: &[f32], coarse: usize, threshold: f64, pause: usize) -> usize {
    let above = |k: usize| f64::from(fine[k]) > threshold;
    let inside = (coarse..fine.len()).find(|&k| above(k)).unwrap_or(coarse);
    let mut begin = inside;
    for k in (0..inside).rev() {
        if above(k) {
            begin = k;
        } else if begin - k > pause {
            break;
        }
    }
    begin
}

/// Where between `k − 1` and `k` the value passes a threshold.
fn between(fine: &[f32], k: usize, threshold: f64) -> f64 {
    if k == 0 {
        return 0.0;
    }
    let (before, after) = (f64::from(fine[k - 1]), f64::from(fine[k]));
    let part = (threshold - before) / (after - before);
    k as f64 - 1.0
        + if part.is_finite() {
            part.clamp(0.0, 1.0)
        } else {
            1.0
        }
}

/// How much may be missing at an end because the passage is as quiet there as
/// it is now and then within: what a moment chosen by chance has to wait for
/// the next that is loud enough, in 39 of 40 cases. Only where noise keeps the
/// threshold within 30 dB of the level: what is farther down is a pause.
fn hidden(blocks: &[f64], block_s: f64, audible: f64, level: f64) -> f64 {
    if audible < 1e-3 * level {
        return 0.0;
    }
    let mut waits = vec![0u32; blocks.len()];
    let mut wait = 0;
    for (slot, power) in waits.iter_mut().zip(blocks).rev() {
        wait = if *power > 2.0 * audible { 0 } else { wait + 1 };
        *slot = wait;
    }
    waits.sort_unstable();
    f64::from(waits[waits.len() * 39 / 40]) * block_s
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOP_S: f64 = 0.001;

    /// Powers of hiss that scatter as those of 1 ms do, by a row of numbers
    /// that never repeats itself.
    fn hiss(power: f64, hops: usize) -> Vec<f32> {
        let golden = 0.618_033_988_75;
        (0..hops)
            .map(|k| (power * (0.5 + (k as f64 * golden).fract())) as f32)
            .collect()
    }

    /// A passage of full power, its amplitude rising and falling over
    /// `fade_s`; hiss of 40 dB less.
    fn with_fades(fade_s: f64) -> Vec<f32> {
        with_fades_above(1e-4, fade_s)
    }

    fn with_fades_above(noise: f64, fade_s: f64) -> Vec<f32> {
        let mut power = hiss(noise, 6000);
        for (k, slot) in power[1000..5000].iter_mut().enumerate() {
            let from_end = (k.min(3999 - k) as f64 + 0.5) * HOP_S;
            *slot += (from_end / fade_s).min(1.0).powi(2) as f32;
        }
        power
    }

    #[test]
    fn both_ends_are_found_within_their_limits() {
        for fade_s in [1e-6, 0.02, 0.1, 0.4] {
            let got = passage(&with_fades(fade_s), HOP_S).expect("a passage");
            for (edge, truth) in [(got.start, 1.0), (got.end, 5.0)] {
                let off = (edge.at_s - truth).abs();
                assert!(off < edge.uncertainty_s, "{fade_s}: {edge:?}");
                assert!((edge.noise / 1e-4 - 1.0).abs() < 0.1);
            }
            assert!((got.level - 1.0).abs() < 0.05, "{}", got.level);
        }
    }

    #[test]
    fn a_softer_edge_is_known_less_well() {
        let limits = [1e-6, 0.1, 0.4].map(|fade_s| {
            let got = passage(&with_fades(fade_s), HOP_S).expect("a passage");
            got.start.uncertainty_s
        });
        assert!(limits.is_sorted(), "{limits:?}");
        assert!(limits[0] < 0.006, "{limits:?}");
        let slow = passage(&with_fades_above(1e-2, 1.9), HOP_S);
        assert_eq!(slow, Err(NoPassage::FadesIn));
    }

    #[test]
    fn pauses_within_are_bridged_and_lone_clicks_are_not() {
        let mut power = with_fades(0.01);
        power[2000..2800].copy_from_slice(&hiss(1e-4, 800));
        let whole = passage(&power, HOP_S).expect("a passage");
        assert!((whole.end.at_s - whole.start.at_s - 4.0).abs() < 0.02);
        assert_eq!(whole.clicks, 0);
        // Switches, farther off than any pause is long.
        power[100] += 1.0;
        power.extend(hiss(1e-4, 1000));
        power[6500] += 1.0;
        let without = passage(&power, HOP_S).expect("a passage");
        assert_eq!(without.clicks, 2);
        assert!((without.start.at_s - 1.0).abs() < 0.02, "{without:?}");
    }

    #[test]
    fn no_passage_has_its_reason() {
        let loud = |range: std::ops::Range<usize>| {
            let mut power = hiss(1e-4, 6000);
            power[range].fill(1.0);
            passage(&power, HOP_S)
        };
        assert_eq!(passage(&vec![0.0; 6000], HOP_S), Err(NoPassage::Silence));
        assert_eq!(passage(&[], HOP_S), Err(NoPassage::Silence));
        assert_eq!(
            passage(&hiss(1e-4, 6000), HOP_S),
            Err(NoPassage::NothingStandsOut)
        );
        assert_eq!(loud(0..4000), Err(NoPassage::Begun));
        assert_eq!(loud(2000..6000), Err(NoPassage::Unended));
        assert!(loud(2000..4000).is_ok());
    }

    #[test]
    fn digital_silence_around_is_no_noise() {
        let mut power = vec![0.0; 6000];
        power[1000..5000].fill(0.1);
        let got = passage(&power, HOP_S).expect("a passage");
        assert!((got.start.at_s - 1.0).abs() < 0.002, "{got:?}");
        assert!((got.end.at_s - 5.0).abs() < 0.002, "{got:?}");
    }
}

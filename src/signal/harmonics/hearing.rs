//! What a look at the spectrum of one channel says about a note, and which of
//! its partials are worth following.

use super::explain::Explained;
use super::lines::SpectralLine;

/// Partials that are followed, at most.
pub const MOST_FOLLOWED: usize = 8;

/// Low partials waver by fewer hertz: they are enough while they hold this
/// part of the power. Else higher ones are added, group by group.
const LOW_PARTIALS: [u32; 3] = [6, 12, 24];
const ENOUGH: f64 = 0.1;

/// A partial that is followed stands this far above the noise in a look, and no
/// further below the strongest, as ratios of powers.
const LEAST_ABOVE_NOISE: f64 = 30.0;
const LEAST_BESIDE_STRONGEST: f64 = 1e-4;

/// See the module.
#[derive(Clone, Debug)]
pub struct Hearing {
    /// The note in this channel; `None` where there is another thing or none.
    pub note: Option<Explained>,
    /// Noise in a hertz beside partial 1, 2, 3 …
    pub noise_per_hz: Vec<f64>,
}

impl Hearing {
    /// Noise in a hertz beside a partial.
    pub fn noise_at(&self, n: u32) -> f64 {
        let last = self.noise_per_hz.last().copied().unwrap_or(0.0);
        let at = self.noise_per_hz.get(n as usize - 1);
        at.copied().unwrap_or(last)
    }

    /// Mean square of a partial; 0 where it is not seen.
    pub fn power_of(&self, n: u32) -> f64 {
        let partials = self.note.iter().flat_map(|note| &note.partials);
        let mut found = partials.filter(|(number, _)| *number == n);
        found.next().map_or(0.0, |(_, line)| line.power)
    }
}

/// The partials of a note that are worth following, lowest first.
pub fn worth_following(note: &Explained) -> Vec<u32> {
    let powers = note.partials.iter().map(|(_, line)| line.power);
    let strongest = powers.fold(0.0, f64::max);
    let clear = |line: &SpectralLine| {
        line.above_noise > LEAST_ABOVE_NOISE && line.power > LEAST_BESIDE_STRONGEST * strongest
    };
    let all: f64 = note.partials.iter().map(|(_, line)| line.power).sum();
    let up_to = |most: u32| {
        let of = move |n: &u32| *n <= most;
        let partials = note.partials.iter();
        let some = partials.filter(move |(n, line)| of(n) && clear(line));
        some.map(|&(n, line)| (n, line.power)).collect::<Vec<_>>()
    };
    let mut partials = LOW_PARTIALS
        .into_iter()
        .map(up_to)
        .find(|some| some.iter().map(|(_, power)| power).sum::<f64>() > ENOUGH * all)
        .unwrap_or_else(|| note.partials.iter().map(|&(n, l)| (n, l.power)).collect());
    let counts = |&(n, power): &(u32, f64)| f64::from(n).powi(2) * power;
    partials.sort_by(|a, b| counts(b).total_cmp(&counts(a)));
    partials.truncate(MOST_FOLLOWED);
    let mut numbers: Vec<u32> = partials.into_iter().map(|(n, _)| n).collect();
    numbers.sort_unstable();
    numbers
}

//! Holds every two ways of a sweep against each other: where they agree more
//! strongly than by chance, there is a claim of a bad spot.

use super::bank::Trace;
use super::evidence::{Agreement, BINS, Chance, Pair, Scale, Scores};
use super::passes::Way;

/// Strength from which an agreement of two ways is no chance: more than by
/// chance elsewhere in the same sweep, whose hand may be a rough one. Tuned, as
/// [`SHIFTED`], `--bench sweep -- --hands --tuning --track`, at four clean sweeps
/// in a thousand accused, the worst hand's; `--hands` judges on other seeds.
const LEAST_LIMIT: f64 = 2.4;
const TIMES_CHANCE: f64 = 1.06;
/// Chance beyond this is not believed: faults show in it as well, two of them a
/// great deal. A hand that starts and stops abruptly brings about as much. Tuned
/// on the hands of `--bench sweep -- --hands`, the same that judge it.
const MOST_CHANCE: f64 = 6.0;
/// Asked of a way that is moved along the range: more chances to agree.
const SHIFTED: f64 = 1.15;

/// Asked of two ways in one direction: a hand that does the same thing twice
/// makes them agree.
const SAME_DIRECTION: f64 = 1.15;
/// Asked of each pair of more than two ways, for every two may agree by chance.
/// Tuned, `--bench sweep`, at one clean sweep in a hundred accused.
const OF_MANY_WAYS: f64 = 1.12;

/// Out and back are held against each other moved by up to this in percent,
/// and this share of the range.
const MOST_BACKLASH: f64 = 1.0;
const MOST_BACKLASH_SHARE: f64 = 0.08;

fn limit(by_chance: f64) -> f64 {
    LEAST_LIMIT + TIMES_CHANCE * by_chance.min(MOST_CHANCE)
}

/// An agreement that is no chance, and the ways that agree.
pub(super) struct Claim {
    pub(super) agreement: Agreement,
    pub(super) ways: [Way; 2],
    /// Strength, the limit being 1.
    pub(super) evidence: f64,
}

impl Claim {
    pub(super) fn is_opposite(&self) -> bool {
        self.ways[0].up != self.ways[1].up
    }
}

/// What the comparison shows.
#[derive(Default)]
pub(super) struct Compared {
    pub(super) claims: Vec<Claim>,
    /// Strengths from which two ways were believed, pair by pair.
    pub(super) limits: Vec<f64>,
    /// The strongest agreement of all, its limit being 1.
    pub(super) evidence: f64,
}

impl Compared {
    /// `pace` is the usual speed of turning in percent a second.
    pub(super) fn of(
        ways: &[Way],
        scores: &[Scores],
        traces: &[Trace],
        scale: Scale,
        pace: f64,
    ) -> Self {
        let bins = BINS as f64 / (scale.high - scale.low);
        let reach = (((0.08 + 0.1 * pace) * bins) as usize).clamp(2, BINS / 12);
        let mut compared = Self::default();
        for one in 0..ways.len() {
            for other in one + 1..ways.len() {
                let pair = Pair::new(&scores[one], &scores[other], traces, reach);
                let chance = pair.by_chance();
                let mut asked = if ways.len() > 2 { OF_MANY_WAYS } else { 1.0 };
                let ways = [ways[one], ways[other]];
                let opposite = ways[0].up != ways[1].up;
                if !opposite {
                    asked *= SAME_DIRECTION;
                }
                compared.add(&pair, &chance, 0, asked, ways);
                compared.limits.push(asked * limit(chance.strength()));
                for by in shifts(bins, 2 * reach).filter(|_| opposite) {
                    compared.add(&pair, &chance, by, SHIFTED * asked, ways);
                    compared.add(&pair, &chance, -by, SHIFTED * asked, ways);
                }
            }
        }
        compared
    }

    /// Where the pair agrees beyond the limit, one way moved `by` bins; `asked`
    /// times as much is asked as of two ways alone.
    fn add(&mut self, pair: &Pair, chance: &Chance, by: isize, asked: f64, ways: [Way; 2]) {
        for agreement in pair.agreements(by) {
            let limit = limit(chance.strength_beside(agreement.bin, by));
            let evidence = agreement.strength / (agreement.asked * asked * limit);
            self.evidence = self.evidence.max(evidence);
            if evidence > 1.0 {
                self.claims.push(Claim {
                    agreement,
                    ways,
                    evidence,
                });
            }
        }
    }
}

/// Bins that a way is moved by; one percent of speed is `bins` of them.
fn shifts(bins: f64, step: usize) -> impl Iterator<Item = isize> {
    let most = (MOST_BACKLASH * bins).min(MOST_BACKLASH_SHARE * BINS as f64);
    (1..=(most / step as f64).round() as isize).map(move |k| k * step.cast_signed())
}

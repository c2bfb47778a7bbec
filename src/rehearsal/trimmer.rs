//! The speed trimmer: a wiper on a resistive track, with end stops, and dirt
//! where the wiper has rested for years.
//!
//! A dirty spot adds contact resistance, so the speed is off while the wiper
//! stands on it; while it stands there, contact comes and goes.
//! Every passage of the wiper over a spot rubs part of the dirt away: much
//! with contact cleaner and the power off, little when dry under power.

use super::noise::{Purpose, Random};
use super::varying::NODES_HZ;

/// What a spot loses when the wiper passes over the whole of it once, with
/// the power off and contact cleaner in it. Invented.
const RUBBED_OFF_WITH_CLEANER: f64 = 0.5;
/// The same, dry and under power. Invented.
const RUBBED_OFF_DRY: f64 = 0.05;
/// Dirt below this share no longer lifts the wiper: the spot is clean. Invented.
const CLEAN: f64 = 0.03;

/// The trimmer and its range. Positions are shares of the travel, 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrimmerConfig {
    /// Where it stands at the start.
    pub position: f64,
    /// Speed deviation in percent at position 0.
    pub percent_at_start: f64,
    /// Speed deviation in percent at position 1; less than at position 0 on a
    /// machine that slows down when turned up.
    pub percent_at_end: f64,
    /// Taper: 0 is linear; towards ±1 the ends differ: the slope at position
    /// 0 is 1 + bow times that of a linear one, at position 1 it is 1 − bow
    /// times.
    pub bow: f64,
    /// Where the wiper changes nothing, from and to: a dead place.
    pub dead: Option<[f64; 2]>,
}

/// How dirty the wiper is.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WiperConfig {
    /// Where it rested long, shares of the travel.
    pub rested_at: Vec<f64>,
    /// Dirty spots about each of these: one on it, the others beside it.
    pub spots_each: u32,
    /// How far spots lie from where it rested, share of the travel.
    pub reach: f64,
    /// Half the width of a spot, share of the travel.
    pub half_width: f64,
    /// Speed in percent that the spot on the place of rest adds at its
    /// centre; those beside it 0.3 to 0.9 of that.
    pub jump_percent: f64,
    /// Most that contact coming and going adds on a fully dirty spot, ±
    /// percent.
    pub crackle_percent: f64,
    /// How often that changes, per second on average.
    pub crackles_per_second: f64,
    /// The track itself is worn there: no cleaning helps.
    pub worn: bool,
}

impl TrimmerConfig {
    /// The speed deviation in percent that a clean wiper gives here.
    pub fn percent_at(&self, position: f64) -> f64 {
        let position = match self.dead {
            Some([from, to]) => position - (position - from).clamp(0.0, to - from),
            None => position,
        };
        let share = position + self.bow * position * (1.0 - position);
        self.percent_at_start + (self.percent_at_end - self.percent_at_start) * share
    }
}

impl WiperConfig {
    /// A wiper without dirt.
    pub fn clean() -> Self {
        Self::default()
    }
}

/// A dirty spot on the track.
#[derive(Clone, Copy, Debug)]
struct Spot {
    centre: f64,
    jump_percent: f64,
    /// Share of the dirt that is left.
    left: f64,
}

/// The trimmer as it stands.
#[derive(Clone, Debug)]
pub(super) struct Trimmer {
    config: TrimmerConfig,
    position: f64,
    half_width: f64,
    spots: Vec<Spot>,
    crackle_percent: f64,
    crackle_chance: f64,
    worn: bool,
    /// How contact is at the moment, −1 to 1.
    contact: f64,
    random: Random,
}

impl Trimmer {
    pub(super) fn new(config: TrimmerConfig, wiper: &WiperConfig, seed: u64) -> Self {
        let mut random = Random::new(seed, Purpose::WiperSpots);
        let mut spots = Vec::new();
        for &rest in &wiper.rested_at {
            for nth in 0..wiper.spots_each {
                let aside = random.between(-wiper.reach, wiper.reach);
                let share = random.between(0.3, 0.9);
                let (aside, share) = if nth == 0 { (0.0, 1.0) } else { (aside, share) };
                spots.push(Spot {
                    centre: rest + aside,
                    jump_percent: share * wiper.jump_percent,
                    left: 1.0,
                });
            }
        }
        Self {
            config,
            position: config.position.clamp(0.0, 1.0),
            half_width: wiper.half_width,
            spots,
            crackle_percent: wiper.crackle_percent,
            crackle_chance: wiper.crackles_per_second / NODES_HZ,
            worn: wiper.worn,
            contact: 0.0,
            random: Random::new(seed, Purpose::Crackle),
        }
    }

    pub(super) fn position(&self) -> f64 {
        self.position
    }

    /// Moves the wiper, no further than its stops, and rubs what lies between.
    pub(super) fn set(&mut self, position: f64, powered: bool) {
        let to = position.clamp(0.0, 1.0);
        self.rub(self.position, to, powered);
        self.position = to;
    }

    /// Once to both stops and back to where it stands.
    pub(super) fn stroke(&mut self, powered: bool) {
        let stands = self.position;
        for to in [0.0, 1.0, stands] {
            self.set(to, powered);
        }
    }

    /// The deviation in percent that the wiper gives where it stands, dirt
    /// included.
    pub(super) fn percent(&self) -> f64 {
        let mut percent = self.config.percent_at(self.position);
        let mut dirtiest: f64 = 0.0;
        for spot in &self.spots {
            let lifted = self.lift(spot);
            percent += spot.jump_percent * lifted;
            dirtiest = dirtiest.max(lifted);
        }
        percent + self.crackle_percent * self.contact * dirtiest
    }

    /// Mean share of the dirt that is left: 1 untouched, 0 clean.
    pub(super) fn dirt(&self) -> f64 {
        let sum: f64 = self.spots.iter().map(|spot| spot.left).sum();
        sum / self.spots.len().max(1) as f64
    }

    /// Asked 200 times a second; true when contact has changed.
    pub(super) fn next_node(&mut self) -> bool {
        let changes = self.crackle_chance > 0.0 && self.random.chance(self.crackle_chance);
        if changes {
            self.contact = self.random.between(-1.0, 1.0);
        }
        changes
    }

    /// How much a spot lifts the wiper here: its dirt in the middle, 0 at its
    /// edges and beyond.
    fn lift(&self, spot: &Spot) -> f64 {
        let aside = (self.position - spot.centre) / self.half_width;
        if aside.abs() < 1.0 {
            spot.left * (1.0 - aside * aside).powi(2)
        } else {
            0.0
        }
    }

    fn rub(&mut self, from: f64, to: f64, powered: bool) {
        let rubbed_off = if self.worn {
            0.0
        } else if powered {
            RUBBED_OFF_DRY
        } else {
            RUBBED_OFF_WITH_CLEANER
        };
        let (low, high) = (from.min(to), from.max(to));
        for spot in &mut self.spots {
            let (left, right) = (spot.centre - self.half_width, spot.centre + self.half_width);
            let passed = (high.min(right) - low.max(left)).max(0.0) / (right - left);
            spot.left *= 1.0 - rubbed_off * passed;
            if spot.left < CLEAN {
                spot.left = 0.0;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn linear() -> TrimmerConfig {
        TrimmerConfig {
            position: 0.3,
            percent_at_start: -6.0,
            percent_at_end: 4.0,
            bow: 0.0,
            dead: None,
        }
    }

    fn dirty() -> WiperConfig {
        WiperConfig {
            rested_at: vec![0.3],
            spots_each: 4,
            reach: 0.04,
            half_width: 0.01,
            jump_percent: -0.8,
            crackle_percent: 0.2,
            crackles_per_second: 2.0,
            worn: false,
        }
    }

    /// The offset from a clean track.
    fn offset(trimmer: &Trimmer) -> f64 {
        trimmer.percent() - trimmer.config.percent_at(trimmer.position)
    }

    #[test]
    fn the_stops_hold() {
        let mut trimmer = Trimmer::new(linear(), &WiperConfig::clean(), 1);
        trimmer.set(1.7, true);
        assert!((trimmer.position() - 1.0).abs() < 1e-15);
        assert!((trimmer.percent() - 4.0).abs() < 1e-12);
        trimmer.set(-0.2, true);
        assert!(trimmer.position().abs() < 1e-15);
        assert!((trimmer.percent() + 6.0).abs() < 1e-12);
    }

    #[test]
    fn the_taper_has_the_stated_slopes_and_ends() {
        let config = TrimmerConfig {
            bow: 0.4,
            ..linear()
        };
        let slope = |x: f64| (config.percent_at(x + 1e-6) - config.percent_at(x - 1e-6)) / 2e-6;
        assert!((slope(0.0) - 14.0).abs() < 1e-6);
        assert!((slope(1.0) - 6.0).abs() < 1e-6);
        assert!((config.percent_at(0.0) + 6.0).abs() < 1e-12);
        assert!((config.percent_at(1.0) - 4.0).abs() < 1e-12);
    }

    #[test]
    fn a_dead_place_changes_nothing_and_takes_nothing_back() {
        let config = TrimmerConfig {
            dead: Some([0.5, 0.6]),
            ..linear()
        };
        assert!((config.percent_at(0.5) - config.percent_at(0.6)).abs() < 1e-12);
        assert!((config.percent_at(0.7) - config.percent_at(0.6) - 1.0).abs() < 1e-12);
        assert!((config.percent_at(0.4) - linear().percent_at(0.4)).abs() < 1e-12);
    }

    #[test]
    fn a_worn_track_cannot_be_cleaned() {
        let worn = WiperConfig {
            worn: true,
            ..dirty()
        };
        let mut trimmer = Trimmer::new(linear(), &worn, 1);
        for _ in 0..5 {
            trimmer.stroke(false);
        }
        assert!((trimmer.dirt() - 1.0).abs() < 1e-15);
    }

    #[test]
    fn dirt_shows_only_near_where_the_wiper_rested() {
        let mut trimmer = Trimmer::new(linear(), &dirty(), 1);
        assert!(offset(&trimmer) <= -0.8 + 1e-12, "{}", offset(&trimmer));
        // A spot reaches its half width beyond its centre, no further.
        for step in 0..=1000 {
            let position = f64::from(step) / 1000.0;
            trimmer.position = position;
            if (position - 0.3).abs() >= 0.05 {
                assert!(offset(&trimmer).abs() < 1e-12, "{position}");
            }
        }
    }

    #[test]
    fn contact_comes_and_goes_only_on_the_dirt() {
        let wander = |position: f64| {
            let mut trimmer = Trimmer::new(linear(), &dirty(), 1);
            trimmer.position = position;
            let mut seen: Vec<f64> = Vec::new();
            for _ in 0..20 * 200 {
                if trimmer.next_node() {
                    seen.push(trimmer.percent());
                }
            }
            // 20 s at 2 per second: 40 expected, sd 6.3.
            assert!(seen.len().abs_diff(40) < 26, "{}", seen.len());
            seen.iter().copied().fold(f64::MIN, f64::max)
                - seen.iter().copied().fold(f64::MAX, f64::min)
        };
        assert!(wander(0.3) > 0.2 && wander(0.3) <= 0.4);
        assert!(wander(0.5) < 1e-12);
    }

    #[test]
    fn strokes_with_the_power_off_clean_it_and_dry_ones_hardly() {
        let mut dry = Trimmer::new(linear(), &dirty(), 1);
        let mut wet = dry.clone();
        for _ in 0..3 {
            dry.stroke(true);
            wet.stroke(false);
        }
        assert!(dry.dirt() > 0.7, "{}", dry.dirt());
        assert!(wet.dirt() < 1e-15, "{}", wet.dirt());
        assert!((wet.position() - 0.3).abs() < 1e-15);
        for step in 0..=1000 {
            wet.position = f64::from(step) / 1000.0;
            assert!(offset(&wet).abs() < 1e-12);
        }
    }

    #[test]
    fn a_spot_loses_by_what_of_it_is_passed() {
        let wiper = WiperConfig {
            spots_each: 1,
            ..dirty()
        };
        let mut trimmer = Trimmer::new(linear(), &wiper, 1);
        // From the centre of the spot outwards: half of it.
        trimmer.set(0.5, false);
        assert!((trimmer.dirt() - 0.75).abs() < 1e-12, "{}", trimmer.dirt());
        for position in [0.9, 0.4, 0.9, 0.4] {
            trimmer.set(position, false);
        }
        assert!((trimmer.dirt() - 0.75).abs() < 1e-12, "{}", trimmer.dirt());
    }
}

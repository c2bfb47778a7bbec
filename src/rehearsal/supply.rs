//! What drives the motor: cells or a supply whose voltage can be set, and how
//! much of a change of it comes through to the speed. Invented.

/// The supply of a machine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SupplyConfig {
    /// Voltage at the start; the machine was set right at it.
    pub volts: f64,
    /// How far a volt moves the speed, percent: next to nothing where the
    /// governor works.
    pub percent_per_volt: f64,
    /// What tired cells lose in a minute of play, volts.
    pub volts_lost_per_minute: f64,
}

impl SupplyConfig {
    /// Cells that last, behind a governor that holds.
    pub fn steady() -> Self {
        Self {
            volts: 6.0,
            percent_per_volt: 0.0,
            volts_lost_per_minute: 0.0,
        }
    }
}

/// A hand at the knob of a bench supply turns this many volts a second.
const TURNED_V_PER_S: f64 = 2.0;

/// The supply as it stands.
#[derive(Clone, Copy, Debug)]
pub(super) struct Supply {
    config: SupplyConfig,
    volts: f64,
    /// Where the hand at the knob is going.
    wanted: f64,
}

impl Supply {
    pub(super) fn new(config: SupplyConfig) -> Self {
        Self {
            config,
            volts: config.volts,
            wanted: config.volts,
        }
    }

    pub(super) fn set_volts(&mut self, volts: f64) {
        self.wanted = volts.max(0.0);
    }

    /// What it moves the speed by, percent.
    pub(super) fn percent(&self) -> f64 {
        self.config.percent_per_volt * (self.volts - self.config.volts)
    }

    /// Time passes, under this share of the load.
    pub(super) fn pass(&mut self, load: f64, seconds: f64) {
        let lost = self.config.volts_lost_per_minute * load * seconds / 60.0;
        self.wanted = (self.wanted - lost).max(0.0);
        let step = TURNED_V_PER_S * seconds;
        self.volts += (self.wanted - self.volts).clamp(-step, step);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_fall_under_load_and_a_knob_takes_its_time() {
        let mut supply = Supply::new(SupplyConfig {
            percent_per_volt: 2.0,
            volts_lost_per_minute: 0.3,
            ..SupplyConfig::steady()
        });
        for _ in 0..120 {
            supply.pass(0.5, 1.0);
        }
        assert!((supply.wanted - 5.7).abs() < 1e-9);
        assert!((supply.percent() + 0.6).abs() < 1e-9);
        supply.set_volts(4.0);
        assert!((supply.percent() + 0.6).abs() < 1e-9);
        supply.pass(0.0, 0.5);
        assert!((supply.percent() + 2.6).abs() < 1e-9);
        supply.pass(0.0, 60.0);
        assert!((supply.percent() + 4.0).abs() < 1e-9);
    }
}

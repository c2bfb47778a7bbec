//! The speeds and directions of a machine as they are typed.

use clap::Args;

use super::ReferenceOptions;
use crate::records::{Direction, Run};
use crate::references::{Reference, SpeedTarget};
use crate::screen::PlannedRun;

/// Which speeds and directions are worked.
#[derive(Args, Clone, Debug, Default)]
pub struct RunOptions {
    /// Speeds of a machine that has several, in cm/s or as 3.75ips: a run of
    /// the whole job for each
    ///
    /// They are worked with the highest first. What the tape of a speed
    /// carries, where it is not what --reference says, follows it in Hz:
    /// 19.05,9.53=1575 is one tape of 3150 Hz, played at half its speed too.
    #[arg(long, value_name = "SPEED[=HZ],...", value_delimiter = ',')]
    pub speeds: Vec<SpeedTarget>,

    /// With --speeds: in the order in which they stand there, as a maker's
    /// manual may want it
    #[arg(long, requires = "speeds")]
    pub as_listed: bool,

    /// Which way the tape runs: a run for each direction of each speed,
    /// forward first
    #[arg(long, value_enum, value_name = "WAYS")]
    pub directions: Option<Directions>,
}

/// Directions as typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Directions {
    /// As with the first side up
    Forward,
    /// The other way only
    Reverse,
    /// Forward, then reverse
    Both,
}

impl Directions {
    fn each(self) -> &'static [Direction] {
        match self {
            Self::Forward => &[Direction::Forward],
            Self::Reverse => &[Direction::Reverse],
            Self::Both => &[Direction::Forward, Direction::Reverse],
        }
    }
}

impl RunOptions {
    /// The speeds and directions in the order of the work; empty where nobody
    /// said any. `of_all` is the reference of the speeds that have none of their
    /// own.
    ///
    /// # Errors
    ///
    /// A sentence, where a speed is named twice, or where one speed has a tone
    /// and another something else.
    pub fn planned(&self, of_all: &ReferenceOptions) -> Result<Vec<PlannedRun>, String> {
        let reference = of_all.reference();
        let mut speeds = self.speeds.clone();
        for (at, one) in speeds.iter().enumerate() {
            if speeds[..at].iter().any(|other| other.speed == one.speed) {
                return Err(format!(
                    "--speeds names {} twice; name each speed once",
                    one.speed
                ));
            }
        }
        if !self.as_listed {
            SpeedTarget::in_order_of_work(&mut speeds);
        }
        let speeds: Vec<Option<SpeedTarget>> = if speeds.is_empty() {
            vec![None]
        } else {
            speeds.into_iter().map(Some).collect()
        };
        let directions: Vec<Option<Direction>> = match self.directions {
            Some(ways) => ways.each().iter().copied().map(Some).collect(),
            None => vec![None],
        };
        let own = |speed: &Option<SpeedTarget>| speed.as_ref()?.reference.clone();
        if let Some(other) = speeds
            .iter()
            .filter_map(own)
            .find(|own| own.kind() != reference.kind())
        {
            return Err(format!(
                "{other} and {reference} are not of one kind; watch each by itself"
            ));
        }
        let all = speeds.iter().flat_map(|speed| {
            let run = |direction: &_| planned(speed.as_ref(), *direction, of_all);
            directions.iter().map(run)
        });
        let said = !self.speeds.is_empty() || self.directions.is_some();
        Ok(all.filter(|_| said).collect())
    }
}

fn planned(
    target: Option<&SpeedTarget>,
    direction: Option<Direction>,
    of_all: &ReferenceOptions,
) -> PlannedRun {
    let own = target.and_then(|target| target.reference.as_ref());
    PlannedRun {
        run: Run {
            speed_cm_s: target.map(|target| target.speed.cm_s),
            direction,
        },
        nominal: own.map_or_else(|| of_all.nominal(), Reference::nominal),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::commands::cli::{Cli, Command};
    use crate::readings::Nominal;
    use crate::units::Hertz;
    use clap::Parser;

    fn planned(arguments: &[&str]) -> Result<Vec<PlannedRun>, String> {
        let all = ["tapewright", "watch"].iter().chain(arguments);
        match Cli::try_parse_from(all).expect("parses").command {
            Some(Command::Watch(options)) => {
                options.sitting.runs.planned(&options.sitting.reference)
            }
            other => panic!("{other:?}"),
        }
    }

    fn order(arguments: &[&str]) -> Vec<String> {
        let runs = planned(arguments).expect("each speed once");
        runs.iter().map(|it| it.run.to_string()).collect()
    }

    #[test]
    fn the_highest_speed_and_forward_come_first() {
        assert_eq!(
            order(&["--speeds", "4.76,9.5", "--directions", "both"]),
            [
                "9.53 cm/s forward",
                "9.53 cm/s reverse",
                "4.76 cm/s forward",
                "4.76 cm/s reverse"
            ]
        );
        assert_eq!(order(&["--directions", "both"]), ["forward", "reverse"]);
        assert_eq!(
            order(&["--speeds", "4.76,3.75ips", "--as-listed"]),
            ["4.76 cm/s", "9.53 cm/s"]
        );
        assert!(order(&[]).is_empty());
    }

    #[test]
    fn each_speed_has_its_own_target() {
        let said = ["--speeds", "19.05=1000,9.53", "--reference", "tone:3000"];
        let nominals: Vec<Nominal> = planned(&said)
            .expect("each speed once")
            .iter()
            .map(|run| run.nominal)
            .collect();
        let expected = [1000.0, 3000.0].map(|hz| Nominal::Fixed(Hertz(hz)));
        assert_eq!(nominals, expected);
    }

    #[test]
    fn a_speed_that_is_named_twice_is_refused() {
        let error = planned(&["--speeds", "9.5,3.75ips"]).expect_err("twice");
        assert!(error.contains("9.53 cm/s twice"), "{error}");
    }
}

//! What `tapewright watch` understands of ticks and of the copy for the ear.

use clap::Args;

use super::number_between;

/// Level where nothing is said, in dBFS: moderate.
const USUAL_LEVEL: f64 = -20.0;

/// The same for the copy: music has peaks far above its mean.
const LISTEN_LEVEL: f64 = -30.0;

/// Ticks for eyes that stay on the screwdriver.
#[derive(Args, Debug)]
pub struct TicksOptions {
    /// Tick slow, fast and right by rhythm, for eyes that stay on the
    /// screwdriver; needs --output
    ///
    /// One tick at a time is slow, two close together are fast, the quicker
    /// the nearer. An even roll is right; with a rest after every four it is
    /// settled. A rattle is stop.
    #[arg(long)]
    pub ticks: bool,

    /// Play the digital copy beside the tape, at the tape's own place, to tune
    /// by ear; with --reference recording:FILE, needs --output
    ///
    /// The copy plays at right speed. As long as the tape does not, the two
    /// part, and the copy is set to the tape's place anew; once they stay
    /// together the speed is right.
    #[arg(long, conflicts_with = "ticks")]
    pub listen: bool,

    /// With --ticks or --listen: sound output by name or id, as `tapewright
    /// inputs` lists it; one that is not in the signal path
    #[arg(long, value_name = "NAME-OR-ID")]
    pub output: Option<String>,

    /// With --listen: level of the copy's loudest second
    #[arg(long, value_name = "DBFS", default_value_t = LISTEN_LEVEL,
          allow_negative_numbers = true, requires = "listen", value_parser = level)]
    pub listen_level: f64,

    /// With --ticks: peak level of the ticks
    #[arg(long, value_name = "DBFS", default_value_t = USUAL_LEVEL,
          allow_negative_numbers = true, requires = "ticks", value_parser = level)]
    pub ticks_level: f64,
}

impl Default for TicksOptions {
    fn default() -> Self {
        Self {
            ticks: false,
            listen: false,
            listen_level: LISTEN_LEVEL,
            output: None,
            ticks_level: USUAL_LEVEL,
        }
    }
}

/// Louder would be loud in headphones.
fn level(text: &str) -> Result<f64, String> {
    number_between(text, -60.0, -6.0, "a level in dBFS")
}

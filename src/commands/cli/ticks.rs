//! What `tapewright watch` understands of ticks and of the copy for the ear.

use clap::Args;

use super::number_between;

/// Ticks for eyes that stay on the screwdriver.
#[derive(Args, Debug, Default)]
pub struct TicksOptions {
    /// Tick slow, fast and right by rhythm, for eyes that stay on the
    /// screwdriver; needs --output
    ///
    /// One tick at a time is slow, two close together are fast, the quicker
    /// the nearer. An even roll is right; with a rest after every four it is
    /// settled. A rattle is stop. Their peak level in dBFS may follow:
    /// --ticks=-26.
    #[arg(long, value_name = "DBFS", num_args = 0..=1, require_equals = true,
          default_missing_value = "-20", value_parser = level)]
    pub ticks: Option<f64>,

    /// Play the digital copy beside the tape, at the tape's own place, to tune
    /// by ear; with --reference recording:FILE, needs --output
    ///
    /// The copy plays at right speed. As long as the tape does not, the two
    /// part, and the copy is set to the tape's place anew; once they stay
    /// together the speed is right. The level of its loudest second in dBFS may
    /// follow: --listen=-36.
    #[arg(long, value_name = "DBFS", num_args = 0..=1, require_equals = true,
          default_missing_value = "-30", value_parser = level, conflicts_with = "ticks")]
    pub listen: Option<f64>,

    /// With --ticks or --listen: sound output by name or id, as `tapewright
    /// inputs` lists it; one that is not in the signal path
    #[arg(long, value_name = "NAME-OR-ID")]
    pub output: Option<String>,
}

/// Louder would be loud in headphones.
fn level(text: &str) -> Result<f64, String> {
    number_between(text, -60.0, -6.0, "a level in dBFS")
}

//! What `tapewright watch` understands of ticks.

use clap::Args;

use super::number_between;

/// Level where nothing is said, in dBFS: moderate.
const USUAL_LEVEL: f64 = -20.0;

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

    /// With --ticks: sound output by name or id, as `tapewright inputs` lists
    /// it; one that is not in the signal path
    #[arg(long, value_name = "NAME-OR-ID", requires = "ticks")]
    pub output: Option<String>,

    /// With --ticks: peak level of the ticks
    #[arg(long, value_name = "DBFS", default_value_t = USUAL_LEVEL,
          allow_negative_numbers = true, requires = "ticks", value_parser = level)]
    pub ticks_level: f64,
}

impl Default for TicksOptions {
    fn default() -> Self {
        Self {
            ticks: false,
            output: None,
            ticks_level: USUAL_LEVEL,
        }
    }
}

/// Louder would be loud in headphones.
fn level(text: &str) -> Result<f64, String> {
    number_between(text, -60.0, -6.0, "a level in dBFS")
}

//! Floor 4: a simulated tape machine whose true speed is known at every
//! sample. Invented throughout, its constants too, unless they say otherwise;
//! deterministic from its seed; no clock, no I/O.
//!
//! [`SimulatedMachine`] renders the line output of a machine that plays a test
//! tape; [`MachineConfig`] says what is wrong with it, each fault in its own
//! unit. [`PracticeMachine`] invents a whole machine from a number, for
//! somebody who wants to practise the job. Time is samples ÷ rate.
//!
//! Random numbers are those of the published PCG generators and are the same
//! on every platform. Sines are computed here from additions and
//! multiplications alone. Only time constants, decibels and invented strengths
//! go through the platform's `exp` and `pow`, whose last bit may differ.

mod control;
mod deck;
mod dirt;
mod dropouts;
mod faulty;
mod fingers;
mod flutter;
mod machine;
mod noise;
mod oscillator;
mod pack;
mod part_faults;
mod practice;
mod supply;
mod sweeping;
mod transports;
mod trimmer;
mod varying;

pub use control::Control;
pub use deck::{RunConfig, SimulatedDeck};
pub use dirt::{ControlConfig, ControlFault, ControlFaultKind, DirtyTracks};
pub use dropouts::DropoutConfig;
pub use fingers::Fingers;
pub use flutter::{FlutterLine, FlutterModel, Follows, Hunting};
pub use machine::{MachineConfig, SimulatedMachine};
pub use noise::HumConfig;
pub use pack::Pack;
pub use part_faults::PartFault;
pub use practice::{PracticeMachine, TrimmerFault};
pub use supply::SupplyConfig;
pub use sweeping::{SweepingConfig, SweepingHand};
pub use transports::{MachineParts, TruePart};
pub use trimmer::{TrimmerConfig, WiperConfig};

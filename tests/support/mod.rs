//! What tests on the whole program share.

pub mod sound_server;

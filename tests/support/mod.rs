//! What tests on the whole program share.

#![allow(dead_code)] // compiled into each test, which uses a part of it

pub mod environment;
pub mod sound_server;
pub mod terminal;
pub mod tmux;

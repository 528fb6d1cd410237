//! The program from outside: a case goes in; files, text and exit codes come out.

mod bad_input;
mod coverage;
mod cycle;
mod exchange;
mod exit_codes;
mod harness;
mod help;
mod interruption;
mod outputs;
mod repeatability;
mod report;
mod sensors;
mod studies;
mod verdict;

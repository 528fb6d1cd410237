//! The program from outside: a case goes in; files, text and exit codes come out.

mod arrange;
mod bad_input;
mod compare;
mod coverage;
mod cycle;
mod exchange;
mod exit_codes;
mod fit;
mod golden;
mod harness;
mod help;
mod interruption;
mod outputs;
mod pictures;
mod points;
mod qualify;
mod repeatability;
mod report;
mod schema;
mod sensors;
mod studies;
mod tables;
mod verdict;

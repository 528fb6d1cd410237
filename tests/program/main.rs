//! The program from outside: a case goes in, files, text and exit codes come out.

//! The whole-job flows that every face of the program shares.

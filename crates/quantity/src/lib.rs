//! tightfit

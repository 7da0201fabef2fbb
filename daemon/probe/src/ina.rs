//! Registers of the INA power monitors.

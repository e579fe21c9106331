//! Reading MIDI files: grids, spelling, damage.

//! MusicXML, MIDI, JSON and setup lists.

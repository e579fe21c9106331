//! Reading MusicXML: conformance cases, melody choice.

//! Datum system (ISO 5459): a frame from features in order of precedence.

"""Jobs: document, pipeline, results by input hash, store, hand-over; the one caller of stages."""

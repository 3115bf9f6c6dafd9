"""From a request to flat facts: what is known, what is lacking, what does not concern a subject."""

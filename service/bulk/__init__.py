"""Many stacks in one go: lines of JSON to lines of JSON, in this process or in several."""

"""One module a lesson: numbers drawn for a learner, tasks worked out with their mistakes."""

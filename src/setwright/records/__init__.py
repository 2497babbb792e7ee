"""What was done and read on a job, kept."""

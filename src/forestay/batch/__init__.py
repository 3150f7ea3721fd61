"""Many eyes at once: plans in brief and audits over tables of any size, resumable, with the same bits for any workers."""

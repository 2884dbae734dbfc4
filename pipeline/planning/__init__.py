"""From chosen actions to jobs, quarters, days and routes."""

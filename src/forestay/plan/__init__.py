"""From a situation to a plan: decision, estimates, options, margins, choice, steps, kit, doses, fallbacks, stops."""

"""The next questions: what changed since, whether the target is attained, the pulse, the devices, the technique."""

"""Devices that switch off in time: overcurrent, direct current, surge, changeover."""

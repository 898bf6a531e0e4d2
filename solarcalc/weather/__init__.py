"""The year's air and sun: read, checked, mended where that can be stated, or refused."""

from solarcalc.weather.read import make_weather, read_weather, read_weather_file
from solarcalc.weather.records import WeatherYear

__all__ = ["WeatherYear", "make_weather", "read_weather", "read_weather_file"]

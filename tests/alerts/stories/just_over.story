# So little over the limit that a decimal does not show it.
start hill coarse
1 min calm
1 min hardly windy
  11:02 driver: Stop hill: too windy, just over 10 mph
    Stop spraying now.
    Wind just over 10 mph, at most 10 mph (label).
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: demasiado viento. Deje de aplicar ya. Viento apenas sobre 10 mph, maximo 10 mph (etiqueta). Decide la etiqueta.
not 0\.0
most 1 driver
most 1 mate

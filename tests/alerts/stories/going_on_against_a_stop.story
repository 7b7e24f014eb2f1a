# Going on while the stop stands is told at once.
start hill coarse
1 min calm
1 min windy
  11:02 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
pause
3 min windy
resume
1 min windy
  11:06 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 40 min of spraying left.
    Wind measured by mast 1 min ago.
  11:06 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
5 min windy
  11:11 helper: Stop hill: too windy, 12, max 10 mph. mate has not acknowledged this for 5 min. Stop spraying now. Label decides.
not All clear|Puede seguir
most 2 driver
most 2 mate
most 1 helper

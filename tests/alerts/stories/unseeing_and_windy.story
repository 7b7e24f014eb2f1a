# Too windy, and the humidity is not known: the stop is of what is known.
start hill coarse
1 min calm
6 min no humidity, windy
  11:02 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Also Delta T unknown: no value to rely on; see to mast.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
  11:07 helper: Stop hill: too windy, 12, max 10 mph. mate has not acknowledged this for 5 min. Stop spraying now. Label decides.
15 min calm
  11:18 driver: All clear hill: inside for 10 min
    Inside for 10 min.
    Job: coarse, about 25 min of spraying left.
    Wind measured by mast 1 min ago.
  11:18 mate: Puede seguir hill: 10 min dentro. 10 min dentro. Trabajo: coarse, quedan unos 25 min de pulverizacion. Decide la etiqueta.
not (?i)check|too dry
most 2 driver
most 2 mate
most 1 helper

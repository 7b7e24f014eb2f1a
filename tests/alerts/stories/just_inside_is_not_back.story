# Just inside its limit the wind is not yet back.
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
20 min just inside
11 min calm
  11:33 driver: All clear hill: inside for 10 min
    Inside for 10 min.
    Job: coarse, about 10 min of spraying left.
    Wind measured by mast 1 min ago.
  11:33 mate: Puede seguir hill: 10 min dentro. 10 min dentro. Trabajo: coarse, quedan unos 10 min de pulverizacion. Decide la etiqueta.
not Get ready
most 2 driver
most 2 mate

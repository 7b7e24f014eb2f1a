# Unseen, a stop is told again after 30, 60 and 120 minutes.
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
30 min windy
  11:07 helper: Stop hill: too windy, 12, max 10 mph. mate has not acknowledged this for 5 min. Stop spraying now. Label decides.
  11:32 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 11 min of spraying left.
    Wind measured by mast 1 min ago.
  11:32 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
59 min windy
  11:37 helper: Stop hill: too windy, 12, max 10 mph. mate has not acknowledged this for 5 min. Stop spraying now. Label decides.
  12:13 driver: Still spraying hill?
    The job on hill was planned to end at 11:42, 30 min ago.
    Finish or abandon it if it is done: the watch goes on watching it until then.
  12:13 mate: ¿Aun pulveriza hill? El trabajo en hill debia acabar a las 11:42, hace 30 min. Decide la etiqueta.
1 min windy
  12:32 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, over its planned time.
    Wind measured by mast 1 min ago.
  12:32 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
119 min windy
  12:37 helper: Stop hill: too windy, 12, max 10 mph. mate has not acknowledged this for 5 min. Stop spraying now. Label decides.
  14:17 driver: Still spraying hill?
    The job on hill was planned to end at 11:42, 2.6 h ago.
    Finish or abandon it if it is done: the watch goes on watching it until then.
  14:17 mate: ¿Aun pulveriza hill? El trabajo en hill debia acabar a las 11:42, hace 2.6 h. Decide la etiqueta.
  14:32 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, over its planned time.
    Wind measured by mast 1 min ago.
  14:32 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
1 min windy
not All clear
most 6 driver
most 6 mate
